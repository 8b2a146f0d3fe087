"""The four roles, each with all that the ones before it may."""

from __future__ import annotations

ADVISOR, ENGINEER, LEAD, OWNER = "advisor", "engineer", "lead", "owner"
ROLES = (ADVISOR, ENGINEER, LEAD, OWNER)
ANYBODY = "anybody"  # what a route asks for that is open to who has not signed in
READER = ADVISOR

WORDS = {
    ADVISOR: "reads everything, changes nothing",
    ENGINEER: "besides adds and corrects days, runs, setups, logs and notes",
    LEAD: "besides brings in predictions, gives verdicts and signs days off",
    OWNER: "besides says who has an account",
}


def may(role: str, needed: str) -> bool:
    """Whether a role may do what asks for `needed`."""
    return needed == ANYBODY or (role in ROLES and ROLES.index(role) >= ROLES.index(needed))
