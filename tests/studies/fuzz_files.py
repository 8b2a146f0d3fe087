"""A malformed file for each seed: the same seed gives the same bytes, sent the same way."""

from __future__ import annotations

import io
import random
import warnings
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass, field

NUMBERS = (
    "", "0", "-1", "1e400", "-1e400", "1e-400", "nan", "inf", "-inf", "null", "0x1F", "１２", "−5", "1,234.5",
    "1.234,5", "9" * 400, "1e308", "1_000", "1/3", "12:34:56.789", "24:61:61", "2026-05-09T10:00:00", "31.02.2026",
    "0000-00-00", "TRUE", "#REF!", "=1+1", "+", "-", ".", "e5", "5e", "٣", "½", "∞", "1 000", "1\u00a0000", "\u200b7",
)  # fmt: skip
WORDS = (
    "", " ", "A", "a" * 5000, "\x00", "\ufeff", "\u202eabc", "<script>alert(1)</script>", "../../etc/passwd", "C:\\x",
    '"', "'", '""', "\r", "\n", "\t", ";", ",", "😀", "e\u0301" * 50, "\ud7ff", "\uffff", "%s%n", "{{7*7}}", "\x1b[31m",
    "'; DROP TABLE events; --", "None", "__class__", "CON", "logs/run01.csv",
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A file or a typed table, and the way in which it is sent. fields: what a form or a JSON holds besides."""

    seed: int
    kind: str
    name: str
    data: bytes
    fields: dict[str, list[str]] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"seed {self.seed} ({self.kind}, {self.name}, {len(self.data)} bytes)"


def case_of(seed: int) -> Case:
    """The case of a seed: four logs in ten, a quarter tables, the others pictures and folders in equal parts."""
    from tests.studies.fuzz_folders import folder_case
    from tests.studies.fuzz_logs import log_case
    from tests.studies.fuzz_pictures import picture_case
    from tests.studies.fuzz_tables import table_case

    chance = random.Random(seed)
    makers = (log_case, table_case, picture_case, folder_case)
    return chance.choices(makers, (42, 26, 16, 16))[0](seed, chance)


def mutate(data: bytes, chance: random.Random) -> bytes:
    """One to six edits; those near 0 come into headers, which a parser believes most."""
    made = bytearray(data)
    for _ in range(chance.randint(1, 6)):
        at, length = int(chance.random() ** 2 * len(made)), chance.choice((1, 2, 4, 8, 64, 1000))
        edit = chance.randrange(8)
        if edit == 0 and made:
            at = min(at, len(made) - 1)
            made[at] ^= 1 << chance.randrange(8)
        elif edit == 1:
            del made[at:]
        elif edit == 2:
            made[at : at + length] = bytes(len(made[at : at + length]))
        elif edit == 3:
            made[at:at] = made[at : at + length] * chance.choice((1, 2, 30))
        elif edit == 4:
            made[at : at + length] = chance.randbytes(length)
        elif edit == 5:
            made[at : at + 4] = chance.choice((b"\xff" * 4, b"\x7f\xff\xff\xff", b"\0\0\0\x80", b"\xff\xff\0\0"))
        elif edit == 6:
            del made[at : at + length]
        else:
            made[at:at] = chance.choice(WORDS).encode("utf-8", "replace")
    return bytes(made)


def zipped(
    members: Iterable[tuple[str | zipfile.ZipInfo, bytes | str]], method: int = zipfile.ZIP_DEFLATED
) -> bytes:
    """A zip whose bytes do not tell when it was made; of a member that is no name, all is taken as it stands."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a name that comes twice is meant
        for name, content in members:
            info = name if isinstance(name, zipfile.ZipInfo) else zipfile.ZipInfo(name)
            made.writestr(info, content, method)
    return out.getvalue()


def damaged_name(name: str, chance: random.Random) -> str:
    """A file's name, in one of ten cases one that is none."""
    if chance.random() > 0.1:
        return name
    ends = ("", ".gz", ".exe", ".csv.csv", ".xlsx", ".jpg", ".zip", "." + "x" * 300)
    word = chance.choice(WORDS).replace("\x00", "").replace("\r", "").replace("\n", "")
    return (word[:150] + chance.choice(ends)) or "x"
