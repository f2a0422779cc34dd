"""The form that orders a drop asks for all that `tautlog drop` takes about the surroundings."""

import pytest
from desks import Seen, Visit

from tautlog.cli.options import SETUP_NAMES
from tautlog.desk import dropping
from tautlog.desk.forms import Entered
from tautlog.errors import QuantityError
from tautlog.model.trace import DropSetup

TOLD = {
    "temperature_c": "21.5",
    "humidity_percent": "64",
    "condition": "wet",
    "since_conditioning_h": "0.5",
}


def test_every_option_of_the_command_has_its_field(empty):
    form = Seen(Visit(empty).get("/drop").text)
    fields = {about.get("name") for tag, about in form.tags if tag in ("input", "select")}
    assert set(SETUP_NAMES) <= fields


def test_what_was_told_of_the_surroundings_goes_into_the_request():
    request = dropping._asked(Entered(dict(TOLD)), DropSetup()).request
    assert (request.temperature_c, request.humidity_percent) == (21.5, 64.0)
    assert (request.condition, request.since_conditioning_h) == ("wet", 0.5)
    untold = dropping._asked(Entered({}), DropSetup()).request
    assert (untold.temperature_c, untold.condition) == (None, None)


@pytest.mark.parametrize("changes", [{"temperature_c": "900"}, {"humidity_percent": "nan"}])
def test_absurd_surroundings_are_refused(changes):
    with pytest.raises(QuantityError):
        dropping._asked(Entered(TOLD | changes), DropSetup())
