"""The tus resumable upload protocol, version 1.0.0 (tus.io, 2016-03-25): the section stands beside each check."""

from __future__ import annotations

import datetime as dt
from email.utils import parsedate_to_datetime

import pytest

from tests.uploads.conftest import BODY_TYPE, LIMIT_BYTES, Tus, named, sha256

DATA = bytes(range(256)) * 40


def test_options_tell_version_extensions_and_size(tus: Tus) -> None:
    """Core protocol, Requests, OPTIONS; Headers, Tus-Version, Tus-Extension, Tus-Max-Size."""
    for version in ({}, {"Tus-Resumable": "0.2.2"}):  # "the Server MUST ignore the header"
        answer = tus.client.request("OPTIONS", "/uploads", headers=version)
        assert answer.status_code == 204
        assert answer.headers["tus-version"] == "1.0.0"
        assert answer.headers["tus-extension"] == "creation,expiration,termination"
        assert answer.headers["tus-max-size"] == str(LIMIT_BYTES)


def test_creation(tus: Tus) -> None:
    """Creation, Requests, POST: 201 and Location; the new upload has the offset 0."""
    answer = tus.ask("POST", "/uploads", **{"Upload-Length": "100", "Upload-Metadata": named("a.csv")})
    assert answer.status_code == 201
    assert answer.content == b""
    place = answer.headers["location"]
    assert tus.head(place).headers["upload-offset"] == "0"


def test_addresses_are_not_guessed(tus: Tus) -> None:
    places = {tus.begin(1) for _ in range(5)}
    assert len(places) == 5
    assert all(len(place.removeprefix("/uploads/")) == 32 for place in places)


def test_head_tells_offset_length_metadata_and_is_not_cached(tus: Tus) -> None:
    """Core protocol, Requests, HEAD; Creation, Headers, Upload-Metadata ("as specified by the Client")."""
    meta = f"{named('Lauf 1 ä.csv')},is_confidential,other d29ybGQ="
    place = tus.ask("POST", "/uploads", **{"Upload-Length": "10", "Upload-Metadata": meta}).headers["location"]
    tus.patch(place, 0, b"1234")
    answer = tus.head(place)
    assert answer.status_code == 200
    assert answer.headers["upload-offset"] == "4"
    assert answer.headers["upload-length"] == "10"
    assert answer.headers["upload-metadata"] == meta
    assert answer.headers["cache-control"] == "no-store"
    assert answer.content == b""
    assert tus.view(place)["name"] == "Lauf 1 ä.csv"


@pytest.mark.parametrize("method", ["HEAD", "PATCH", "DELETE"])
def test_what_does_not_exist_has_no_offset(tus: Tus, method: str) -> None:
    """Core protocol, HEAD and PATCH; Termination, DELETE: 404 without Upload-Offset."""
    headers = {"Upload-Offset": "0", "Content-Type": BODY_TYPE} if method == "PATCH" else {}
    answer = tus.ask(method, f"/uploads/{'0' * 32}", **headers)
    assert answer.status_code == 404
    assert "upload-offset" not in answer.headers
    assert answer.headers["tus-resumable"] == "1.0.0"


def test_patch_takes_bytes_at_the_offset(tus: Tus) -> None:
    """Core protocol, Example and Requests, PATCH: 204 with the new Upload-Offset."""
    place = tus.begin(len(DATA))
    for start, end in ((0, 1000), (1000, 1001), (1001, 1001), (1001, len(DATA))):
        answer = tus.patch(place, start, DATA[start:end])
        assert answer.status_code == 204
        assert answer.headers["upload-offset"] == str(end) == tus.head(place).headers["upload-offset"]
    assert tus.raw(tus.view(place)["sha256"]) == DATA


@pytest.mark.parametrize("offset", [0, 3, 5, 100])
def test_another_offset_is_a_conflict_and_changes_nothing(tus: Tus, offset: int) -> None:
    """Core protocol, Requests, PATCH: 409 "without modifying the upload resource"."""
    place = tus.begin(10)
    tus.patch(place, 0, b"1234")
    assert tus.patch(place, offset, b"xx").status_code == 409
    assert tus.head(place).headers["upload-offset"] == "4"
    assert tus.parts()[0].read_bytes() == b"1234"


@pytest.mark.parametrize("kind", ["application/octet-stream", "multipart/form-data; boundary=x", ""])
def test_another_content_type_is_refused(tus: Tus, kind: str) -> None:
    """Core protocol, Requests, PATCH: 415."""
    place = tus.begin(10)
    assert tus.patch(place, 0, b"1234", **{"Content-Type": kind}).status_code == 415
    assert tus.head(place).headers["upload-offset"] == "0"


@pytest.mark.parametrize("version", ["0.2.2", "1.0.1", "", None])
@pytest.mark.parametrize("method", ["POST", "HEAD", "PATCH", "DELETE"])
def test_another_version_is_refused_and_not_processed(tus: Tus, method: str, version: str | None) -> None:
    """Core protocol, Headers, Tus-Resumable: 412 with Tus-Version, "the Server MUST NOT process the request"."""
    place = tus.begin(10)
    headers = {"Upload-Offset": "0", "Content-Type": BODY_TYPE, "Upload-Length": "5"}
    headers |= {"Tus-Resumable": version} if version is not None else {}
    path = "/uploads" if method == "POST" else place
    content = b"12345" if method == "PATCH" else b""
    answer = tus.client.request(method, path, content=content, headers=headers)
    assert answer.status_code == 412
    assert answer.headers["tus-version"] == "1.0.0"
    assert tus.head(place).headers["upload-offset"] == "0"
    assert len(tus.parts()) == 1


def test_every_answer_names_the_version(tus: Tus) -> None:
    """Core protocol, Headers, Tus-Resumable: in every response, those that something else refuses among them."""
    place = tus.begin(10)
    for method, path, headers in (
        ("OPTIONS", "/uploads", {}),
        ("POST", "/uploads", {"Upload-Length": "x"}),
        ("POST", "/uploads", {"Origin": "http://elsewhere.example", "Upload-Length": "1"}),
        ("HEAD", place, {}),
        ("PATCH", place, {"Upload-Offset": "7", "Content-Type": BODY_TYPE}),
        ("DELETE", place, {}),
    ):
        assert tus.ask(method, path, **headers).headers["tus-resumable"] == "1.0.0"


def test_a_method_may_be_named_in_a_header(tus: Tus) -> None:
    """Core protocol, Headers, X-HTTP-Method-Override: "The actual method of the request MUST be ignored"."""
    place = tus.begin(4)
    named_patch = {"X-HTTP-Method-Override": "PATCH", "Upload-Offset": "0", "Content-Type": BODY_TYPE}
    assert tus.ask("POST", place, b"1234", **named_patch).status_code == 204
    assert tus.head(place).headers["upload-offset"] == "4"


def test_a_method_in_a_header_does_not_get_round_the_check_of_origin(tus: Tus) -> None:
    place = tus.begin(4)
    led = {"X-HTTP-Method-Override": "DELETE", "Origin": "http://elsewhere.example"}
    assert tus.ask("GET", place, **led).status_code == 403
    assert tus.head(place).status_code == 200


@pytest.mark.parametrize("length", [None, "", "-1", "1.5", "ten", "1e3", "9" * 19])
def test_a_length_must_be_a_count_of_bytes(tus: Tus, length: str | None) -> None:
    """Core protocol, Headers, Upload-Length: a non-negative integer."""
    answer = tus.ask("POST", "/uploads", **({"Upload-Length": length} if length is not None else {}))
    assert answer.status_code == 400
    assert "Upload-Length" in answer.json()["error"]
    assert tus.parts() == []


def test_a_deferred_length_is_not_offered(tus: Tus) -> None:
    """Creation, Headers, Upload-Defer-Length belongs to an extension that OPTIONS does not name."""
    assert tus.ask("POST", "/uploads", **{"Upload-Defer-Length": "1"}).status_code == 400


def test_more_than_the_greatest_size_is_refused(tus: Tus) -> None:
    """Creation, Requests, POST: 413 beyond Tus-Max-Size."""
    answer = tus.ask("POST", "/uploads", **{"Upload-Length": str(LIMIT_BYTES + 1), "Upload-Metadata": named("a.csv")})
    assert answer.status_code == 413
    assert answer.json()["error"] == "a.csv has 3 MB; at most 3 MB can be sent."
    assert tus.parts() == []


def test_more_bytes_than_announced_are_refused(tus: Tus) -> None:
    place = tus.begin(4)
    assert tus.patch(place, 0, b"12345").status_code == 413
    assert tus.head(place).headers["upload-offset"] == "0"


@pytest.mark.parametrize("meta", ["filename !", "filename YQ==,filename Yg==", "a,,b", "a\tb YQ==", "x" * 5000])
def test_metadata_that_the_protocol_does_not_allow(tus: Tus, meta: str) -> None:
    """Creation, Headers, Upload-Metadata: keys unique and not empty, without spaces and commas; values Base64."""
    assert tus.ask("POST", "/uploads", **{"Upload-Length": "1", "Upload-Metadata": meta}).status_code == 400


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\logs\\run.csv", "run.csv"),
        ('<img src="x">.csv', '<img src="x">.csv'),
        ("a\x00b\x1b\u202ec.csv", "abc.csv"),
        ("..", "file"),
        ("", "file"),
        ("x" * 300 + ".csv", "x" * 196 + ".csv"),
    ],
)
def test_names_are_kept_as_text_without_folders(tus: Tus, sent: str, kept: str) -> None:
    assert tus.view(tus.begin(1, sent))["name"] == kept


def test_an_upload_may_be_given_up(tus: Tus) -> None:
    """Termination, Requests, DELETE: 204, resources freed, 404 from then on."""
    place = tus.begin(10)
    tus.patch(place, 0, b"1234")
    assert tus.ask("DELETE", place).status_code == 204
    assert tus.parts() == []
    assert tus.head(place).status_code == 404
    assert tus.patch(place, 4, b"5").status_code == 404
    assert tus.parts() == []


def test_what_has_come_in_whole_stays_in_the_archive_when_its_upload_is_given_up(tus: Tus) -> None:
    place = tus.send(DATA)
    assert tus.ask("DELETE", place).status_code == 204
    assert tus.head(place).status_code == 404
    assert tus.raw(sha256(DATA)) == DATA


def test_an_upload_says_when_it_is_let_go(tus: Tus) -> None:
    """Expiration, Headers, Upload-Expires: in the answers to POST and PATCH, as a date of RFC 9110 section 5.6.7."""
    made = tus.ask("POST", "/uploads", **{"Upload-Length": "10"})
    patched = tus.patch(made.headers["location"], 0, b"1")
    for answer in (made, patched):
        left = parsedate_to_datetime(answer.headers["upload-expires"]) - dt.datetime.now(dt.UTC)
        assert dt.timedelta(days=13.9) < left <= dt.timedelta(days=14)
    assert "upload-expires" not in tus.patch(made.headers["location"], 1, b"234567890").headers


def test_nothing_of_a_file_without_bytes_is_missing(tus: Tus) -> None:
    """Core protocol, Headers, Upload-Length: zero is a length; such an upload is complete when it is created."""
    view = tus.view(tus.begin(0))
    assert (view["state"], view["sha256"]) == ("received", sha256(b""))


def test_a_body_that_does_not_say_its_length_is_refused(tus: Tus) -> None:
    place = tus.begin(4)
    headers = {"Tus-Resumable": "1.0.0", "Upload-Offset": "0", "Content-Type": BODY_TYPE}
    assert tus.client.patch(place, content=iter([b"12", b"34"]), headers=headers).status_code == 411
    assert tus.head(place).headers["upload-offset"] == "0"
