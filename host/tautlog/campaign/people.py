"""People: who has which role in a campaign, and what somebody did in another's role.

campaign.toml names people with their roles. As long as it names nobody, nothing is asked. A role
that somebody took without having it is a finding for the report; only the checklist's two persons
are refused, if [decision] requires the checklist: there two named persons are the rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from tautlog.errors import CampaignError
from tautlog.model.key import stated
from tautlog.model.names import alike, short

# Role, and what whoever has it does; in the order of a drop.
ROLES = {
    "operator": "runs the drop",
    "second": "second person at the checklist",
    "inspector": "inspects the article",
    "decider": "decides on the test",
    "overrider": "overrides a refusal",
    "calibrator": "chooses another calibration",
    "approver": "agrees to a deviation",
}
OPERATOR, SECOND, INSPECTOR, DECIDER, OVERRIDER, CALIBRATOR, APPROVER = ROLES


@dataclass(frozen=True)
class Person:
    """A person of the campaign, with one role or several."""

    name: str = field(metadata=stated("Name, as it is signed with --by.", "A. Rigger"))
    roles: str = field(
        default="",
        metadata=stated(
            f"Roles, with commas between them: {', '.join(ROLES)}.", "operator, calibrator"
        ),
    )

    @property
    def has(self) -> tuple[str, ...]:
        """The roles, as typed."""
        return tuple(role for role in (part.strip() for part in self.roles.split(",")) if role)


@dataclass(frozen=True)
class Act:
    """Something that somebody did in a role.

    Attributes
    ----------
    role, by : str
        A key of `ROLES`; who did it.
    """

    role: str
    by: str


def mistakes_in_people(people: Sequence[Person]) -> Iterator[str]:
    """Roles that nobody knows, and people without any."""
    for person in people:
        unknown = [role for role in person.has if role not in ROLES]
        if unknown or not person.has:
            what = f"roles = {short(', '.join(unknown))}" if unknown else "roles is missing"
            yield (
                f"[[person]] {short(person.name)}: {what}; allowed are {', '.join(ROLES)}, with "
                "commas between them"
            )


def having(people: Sequence[Person], role: str) -> tuple[str, ...]:
    """Names of those who have a role."""
    return tuple(person.name for person in people if role in person.has)


def not_theirs(people: Sequence[Person], acts: Iterable[Act]) -> tuple[str, ...]:
    """What was done by somebody who has not the role for it, in words, each once.

    Nobody is found if campaign.toml names no people, and for an act that nobody signed.
    """
    if not people:
        return ()
    found = []
    for act in acts:
        theirs = having(people, act.role)
        if act.by and not any(alike(act.by, name) for name in theirs):
            has = f"campaign.toml gives that role to {', '.join(theirs)}"
            text = has if theirs else "campaign.toml gives that role to nobody"
            found.append(f"{act.by} {_DID[act.role]} without being {act.role}: {text}")
    return tuple(dict.fromkeys(found))


def require_at_the_list(
    people: Sequence[Person], operator: str, second: str, *, required: bool
) -> tuple[str, ...]:
    """Whether the two persons of a checklist have their roles.

    Parameters
    ----------
    people : sequence of Person
        As campaign.toml names them; empty asks nothing.
    operator, second : str
        Who asks and who answers.
    required : bool
        The campaign requires the checklist.

    Returns
    -------
    tuple of str
        What to look at, if the list is only advised.

    Raises
    ------
    CampaignError
        If it is required, and one of them has not the role.
    """
    found = not_theirs(people, (Act(OPERATOR, operator), Act(SECOND, second)))
    if found and required:
        raise CampaignError(
            f"{'; '.join(found)}. [decision] requires the checklist: let those do it, or give the "
            "role in [[person]] of campaign.toml"
        )
    return found


_DID = {
    OPERATOR: "ran the drop",
    SECOND: "was second person at the checklist",
    INSPECTOR: "inspected the article",
    DECIDER: "decided on the test",
    OVERRIDER: "overrode a refusal",
    CALIBRATOR: "chose another calibration",
    APPROVER: "agreed to a deviation",
}
