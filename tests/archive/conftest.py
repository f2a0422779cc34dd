"""What tests of an archive share: one rehearsed drop."""

import pytest
from rehearsed import SPEED, drop, plan_for, played

from tautlog.rehearsal.process import BoardProcess


@pytest.fixture(scope="module")
def dropped(tmp_path_factory):
    """One good drop whose article nobody has looked at."""
    rig = played(None)
    plan = plan_for(rig, tmp_path_factory.mktemp("drops") / "drop.h5", record_s=7.0)
    with BoardProcess(rig, speed=SPEED) as board:
        drop(board, plan)
    return plan.path


@pytest.fixture
def record(dropped, tmp_path):
    path = tmp_path / "drop.h5"
    path.write_bytes(dropped.read_bytes())
    return path
