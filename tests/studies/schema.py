"""What the JSON interface says of itself, held against a server that others can reach: bodies, addresses and queries
drawn from its OpenAPI document, as it allows them and as it does not, by a program of each role and by one that has no
token. No answer is a mistake of the program, and none has a status that the document does not know.
"""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, settings
from starlette.types import Receive, Scope, Send

from server.accounts import signing_in
from server.accounts.signing_in import Visitor
from server.help.api import document
from tests.web.fake_fit import all_kinds
from tests.web.lan import LAN, NEIGHBOUR, lan_app, make_account
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY, keep_made_up, served

NOBODY = ""
ROLES = (NOBODY, "advisor", "engineer", "lead", "owner")
TOKEN_ROLES = {"owner": "lead"}  # a program is at most a lead
BYTES_ALONE = ("application/zip", "application/octet-stream")  # bodies that the document says nothing of but their type


@dataclass
class Told:
    """What was answered. statuses: status → number; faults: one sentence each."""

    asked: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        statuses = ", ".join(f"{status} {number} times" for status, number in sorted(self.statuses.items()))
        return f"{self.asked} requests: {statuses}; {len(self.faults)} faults"


def hold(examples: int, roles: tuple[str, ...] = ROLES) -> Told:
    """Ask every operation `examples` times as it allows and as it does not, for each role."""
    import schemathesis

    told = Told()
    with _reachable() as (address, described, tokens):
        schema = schemathesis.openapi.from_dict(described)
        operations = [one.ok() for one in schema.get_all_operations()]
        for operation in operations:
            body = operation.definition.raw.get("requestBody", {}).get("content", {})
            if set(body) & set(BYTES_ALONE):
                continue
            for role in roles:
                for mode in (schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE):
                    asker = Asker(address, role, tokens[role], examples, told)
                    asker.ask(operation, mode)
    return told


@dataclass(frozen=True)
class Asker:
    """A program that asks, and what it is told."""

    address: str
    role: str
    token: str
    examples: int
    told: Told

    def ask(self, operation: Any, mode: Any) -> None:
        """Draw bodies, addresses and queries of an operation, and send them."""
        from hypothesis.errors import Unsatisfiable

        @settings(
            max_examples=self.examples, derandomize=True, database=None, deadline=None, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(case=operation.as_strategy(generation_mode=mode))
        def one(case: Any) -> None:
            self._send(operation, case)

        with suppress(Unsatisfiable):  # nothing can be sent there that its schema does not allow
            one()

    def _send(self, operation: Any, case: Any) -> None:
        headers = {"Host": LAN, "X-Stillair-Who": "robot"}
        headers |= {"Authorization": f"Bearer {self.token}"} if self.token else {}
        answer = case.call(base_url=self.address, headers=headers, timeout=60)
        status = answer.status_code
        self.told.asked += 1
        self.told.statuses[status] += 1
        if status >= 500 or str(status) not in operation.definition.raw["responses"]:
            sent = f"{operation.method} {case.formatted_path} {case.query} {str(case.body)[:300]}"
            whose = self.role or "somebody without a token"
            self.told.faults.append(f"{sent} of {whose}: {status} {answer.text[:200]}")


@contextmanager
def _reachable() -> Iterator[tuple[str, dict[str, Any], dict[str, str]]]:
    """A server on a network with two made-up days; gives its address, its document and a token of each role."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        app = lan_app(folder / "data", all_kinds())

        async def from_the_network(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["type"] == "http":
                scope = {**scope, "client": (NEIGHBOUR, 50_000), "server": (LAN, 80)}
            await app(scope, receive, send)

        with served(from_the_network) as address:
            for day in ("one", "two"):
                toml = SMALL_DAY.replace("Long apron", day)
                keep_made_up(app.state.archive, made_up_day_result("AB"), folder / day, day, toml)
            tokens = {role: _token(app, role) if role else "" for role in ROLES}
            yield address, document(app), tokens


def _token(app: Any, role: str) -> str:
    account = make_account(app, role)
    with app.state.archive.database.writing() as session:
        visitor = Visitor(account.name, role, account.id, "key")
        return signing_in.make_token(session, visitor, "robot", TOKEN_ROLES.get(role, role))
