"""Names typed by people never become dangerous files or steer a terminal."""

import re
import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imu.errors import SwingspreadError
from imu.recordings.names import check_role, clean_label, file_name, is_reserved, printable


@settings(derandomize=True)
@given(st.text(max_size=200))
def test_any_text_makes_a_plain_file_name(text):
    name = file_name(text)
    assert re.fullmatch(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?", name)
    assert len(name) <= 48
    assert not is_reserved(name)


@pytest.mark.parametrize("text", ["", "../../etc", "con", "NUL", "com1", "…", "\x00", "名前"])
def test_tricks_lose_their_sting(text):
    name = file_name(text)
    assert "/" not in name
    assert "." not in name
    assert not is_reserved(name)


def test_a_file_name_keeps_what_it_can():
    assert file_name("Zoë's Driver, 2nd block") == "zoe-s-driver-2nd-block"


@settings(derandomize=True)
@given(st.text(max_size=130))
def test_a_label_is_kept_or_refused(text):
    try:
        label = clean_label(text)
    except SwingspreadError:
        return
    assert label == unicodedata.normalize("NFC", text).strip()
    assert clean_label(label) == label


@pytest.mark.parametrize("text", ["a\nb", "a\x1b[31m", "a\u2028b", "x" * 121, "a\ud800"])
def test_labels_that_could_mislead_are_refused(text):
    with pytest.raises(SwingspreadError, match="label: "):
        clean_label(text, "label")


def test_two_spellings_of_one_label_are_the_same():
    assert clean_label("Zoe\u0308") == clean_label("Zo\u00eb ")


@pytest.mark.parametrize("role", ["forearm", "club", "belt", "lead_thigh2"])
def test_any_plain_role_is_allowed(role):
    assert check_role(role) == role


@pytest.mark.parametrize("role", ["", "Club", "../x", "a b", "nul", "2nd", "x" * 33, "belt\n"])
def test_other_roles_are_refused(role):
    with pytest.raises(SwingspreadError, match="cannot be a file name"):
        check_role(role)


def test_control_characters_never_reach_the_terminal():
    assert printable("a\x1b[2J\nb\u202ec") == "a [2J b c"
