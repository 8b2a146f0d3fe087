"""What is wrong in a log is left out and said; what is no log is refused with one sentence."""

import numpy as np
import pytest

from server.errors import LogError
from server.readers import open_log
from tests.readers.logs import channel, codes, is_sound, lines, read, said

HEAD = "time,speed\n"


@pytest.mark.parametrize(
    "sentinel", ["-9999", "-9999.0", "-99999", "-999.25", "1e30", "-1e31", "9.9e37", "9999"]
)
def test_sentinels(sentinel):
    raw = read("time,speed,p\n" + lines(lambda i: f"{i / 10},{sentinel if i % 7 == 0 else i},101325"))
    assert len(channel(raw, "speed").values) == 42
    assert channel(raw, "speed").values.max() == 48
    assert "'speed'" in said(raw, "sentinel")
    assert "8 " in said(raw, "sentinel")


@pytest.mark.parametrize(
    "column", [lambda i: -9980 - i, lambda i: 9990 + i, lambda i: 32700 + 2 * i + 1, lambda i: -999 + i]
)
def test_numbers_in_a_row_with_others_are_no_sentinels(column):
    raw = read("time,strain\n" + lines(lambda i: f"{i / 10},{column(i)}"))
    assert len(raw.channels[0].values) == 50
    assert "sentinel" not in codes(raw)


def test_infinities_and_words_for_none():
    raw = read(
        "time,a,b\n"
        + lines(lambda i: f"{i / 10},{'inf' if i == 3 else i},{('---', 'n.a.', '#N/A', '?', i)[i % 5]}")
    )
    assert [len(c.values) for c in raw.channels] == [49, 10]
    assert codes(raw) == {"sentinel"}


def test_cells_that_are_no_numbers():
    raw = read(HEAD + lines(lambda i: f"{i / 10},{'ERR' if i == 9 else i}"))
    assert len(raw.channels[0].values) == 49
    assert said(raw, "unreadable-cells") == (
        "run01.csv: 1 cell of 'speed' is no number (such as 'ERR') and is left out."
    )


def test_half_written_last_line():
    whole = HEAD + lines(lambda i: f"{i / 100:.2f},{i}.125,7.50", 48_111).replace("speed", "speed,b")
    raw = read("time,speed,b\n" + whole.removeprefix(HEAD) + "481.11,48")
    assert said(raw, "log-cut-short") == (
        "run01.csv: the log stops in the middle of line 48,113; everything before it was read."
    )
    assert len(channel(raw, "speed").values) == 48_111


@pytest.mark.parametrize("cut", [1, 2, 3, 6, 9])
def test_cut_within_the_last_cells(cut):
    text = HEAD + lines(lambda i: f"{i / 10:.1f},{20 - i / 10:.3f}")
    raw = read(text[: -1 - cut])
    assert len(raw.channels[0].values) == 49
    assert "line 51" in said(raw, "log-cut-short")


def test_a_last_line_without_its_end_is_whole():
    raw = read((HEAD + lines(lambda i: f"{i / 10:.1f},{20 - i / 10:.3f}"))[:-1])
    assert len(raw.channels[0].values) == 50
    assert not raw.findings


def test_zero_bytes_behind_a_power_cut():
    text = HEAD + lines(lambda i: f"{i / 10:.1f},{20 - i / 10:.3f}")
    raw = read(text.encode() + b"4.9,15" + b"\0" * 4096)
    assert len(raw.channels[0].values) == 50
    assert "log-cut-short" in codes(raw)
    raw = read(text[:300].encode() + b"\0" * 100 + text[300:].encode())
    assert len(raw.channels[0].values) == 50
    assert "100 zero bytes" in said(raw, "zero-bytes")


def test_doubled_times():
    raw = read(HEAD + lines(lambda i: f"{i // 2 / 10},{i}"))
    np.testing.assert_array_equal(raw.channels[0].values, np.arange(0, 50, 2))
    assert "25 of 50" in said(raw, "time-doubled")


def test_one_line_a_message_doubles_no_channel():
    """A bus log writes each message's channels on a line of its own, often at one time stamp."""
    raw = read("time,a,b\n" + lines(lambda i: f"{i / 10},{i},\n{i / 10},,{i}"))
    assert [len(c.values) for c in raw.channels] == [50, 50]
    assert "time-doubled" not in codes(raw)


def test_a_backward_and_a_stray_time():
    for stray in ("0.3", "-5", "99999"):
        raw = read(HEAD + lines(lambda i, s=stray: f"{s if i == 20 else i / 10},{i}"))
        assert 20 not in raw.channels[0].values
        assert len(raw.channels[0].values) == 49
        assert "1 of 50" in said(raw, "time-backward")


def test_the_clock_steps_back():
    raw = read(HEAD + lines(lambda i: f"{i / 10 if i < 30 else i / 10 - 1.5:.1f},{i}"))
    assert is_sound(raw)
    assert len(raw.channels[0].values) == 35
    (step,) = [f for f in raw.findings if f.code == "clock-step"]
    assert step.grade == "check"
    assert step.start_s == pytest.approx(2.9)
    assert "1.4 s" in step.text


def test_the_clock_begins_again():
    raw = read(HEAD + lines(lambda i: f"{i / 10},{i}", 30) + lines(lambda i: f"{i / 10},{100 + i}", 50))
    assert is_sound(raw)
    np.testing.assert_array_equal(raw.channels[0].values, 100 + np.arange(50))
    assert "30 samples" in said(raw, "clock-step")


def test_gaps_are_said_with_their_place():
    raw = read(HEAD + lines(lambda i: f"{i / 10 if i < 30 else i / 10 + 50},{i}"))
    (gap,) = raw.findings
    assert (gap.code, gap.start_s, gap.end_s) == ("time-gap", pytest.approx(2.9), pytest.approx(53.0))
    assert len(raw.channels[0].values) == 50


def test_times_that_jump_to_and_fro_are_refused():
    rng = np.random.default_rng(1)
    stamps = rng.uniform(0, 1000, 5000)
    stamps[:300] = np.arange(300) / 10
    with pytest.raises(LogError, match="they are no log in order of time"):
        read(HEAD + lines(lambda i: f"{stamps[i]:.3f},{i}", 5000))


def test_lines_without_a_time():
    raw = read(HEAD + lines(lambda i: ("# lap 2\n" if i == 9 else "") + f"{i / 10},{i}"))
    assert "near line 11" in said(raw, "no-time")
    assert len(raw.channels[0].values) == 50


def test_names_that_come_again_within_the_log():
    part = "time,a,b\n" + lines(lambda i: f"{i / 10},{i},{i}")
    raw = read(part + "time,a,b\n" + lines(lambda i: f"{5 + i / 10},{i},{i}"))
    assert [len(c.values) for c in raw.channels] == [100, 100]
    assert codes(raw) == {"no-time"}


def test_many_like_findings_become_one():
    raw = read(
        "time,"
        + ",".join(f"c{k}" for k in range(30))
        + ",v\n"
        + lines(lambda i: f"{i / 10}," + "," * 30 + f"{i}")
    )
    texts = [f.text for f in raw.findings if f.code == "empty-channel"]
    assert len(texts) == 6
    assert texts[-1].startswith("25 more")


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "run01.csv is empty."),
        (b"\n\n  \n", "run01.csv holds nothing but blanks."),
        (b"\0" * 3000, "run01.csv holds nothing but blanks."),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "run01.csv is a picture \\(PNG\\)"),
        (b"\xff\xd8\xff\xe0" + bytes(400), "run01.csv is a picture \\(JPEG\\)"),
        (b"PK\x03\x04" + bytes(400), "save its table as CSV"),
        (b"%PDF-1.7\n", "PDF"),
        (b"<!DOCTYPE html><html></html>", "run01.csv is a web page \\(line 1"),
        (b'<?xml version="1.0"?><a/>', "marked-up text"),
        (np.random.default_rng(1).bytes(5000), "run01.csv is binary \\(byte 0x.. at position"),
        (b"words, and no table\nof any kind, here\n", "holds no table of numbers in its first"),
        (b"time,speed,throttle\n", "holds no table of numbers"),
        (b"1\n2\n3\n4\n", "holds no table of numbers"),
        (b'{"time": [1, 2, 3], "speed": [4, 5, 6]}', "run01.csv"),
    ],
)
def test_what_is_no_log_is_refused_in_one_sentence(data, sentence):
    with pytest.raises(LogError, match=sentence) as caught:
        read(data)
    assert "\n" not in str(caught.value)
    assert str(caught.value).count("run01.csv") == 1


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(LogError, match=r"nothing\.csv cannot be opened"):
        open_log(tmp_path / "nothing.csv")
    with pytest.raises(LogError, match="cannot be opened"):
        open_log(tmp_path)


def test_a_file_and_its_bytes_read_alike(tmp_path):
    text = HEAD + lines(lambda i: f"{i / 10},{i}", 3000)
    path = tmp_path / "run01.csv"
    path.write_text(text)
    one, other = open_log(path), read(text)
    assert one.description == other.description
    np.testing.assert_array_equal(one.channels[0].values, other.channels[0].values)
