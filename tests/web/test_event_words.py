"""Events in a list: short enough to be read, hashes by their beginning."""

from __future__ import annotations

from server.history.brief import LONGEST, brief

HASH = "ab12" * 16


def test_what_stands_in_a_list_is_short() -> None:
    assert brief({"speed_mps": 250 / 9, "told": None, "by": True}) == "speed 27.7778 m/s, told nothing, by yes"
    assert brief({"plan": HASH}) == "plan ab12ab12ab12…"
    assert brief({"files": {"a.csv": HASH, "b.csv": HASH}}) == "files a.csv ab12ab12ab12…, b.csv ab12ab12ab12…"
    assert brief({"files": dict.fromkeys("abcd", HASH), "names": []}) == "files 4 of them, names none"
    assert brief([1, "run 3"]) == "1; run 3"
    assert len(brief("x" * 900)) == LONGEST + 1
