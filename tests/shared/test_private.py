"""What is kept from others on the machine."""

import os

import pytest
from django.core.checks import run_checks

from shared.private import private_file, private_folder


@pytest.fixture(autouse=True)
def usual_umask():
    before = os.umask(0o022)
    yield
    os.umask(before)


def mode_of(path) -> int:
    return path.stat().st_mode & 0o777


def test_a_folder_is_made_for_its_owner_alone_and_one_that_lies_open_is_closed(tmp_path):
    assert private_folder(tmp_path / "over" / "made") == ""
    (tmp_path / "open").mkdir(mode=0o755)
    assert private_folder(tmp_path / "open") == ""
    assert mode_of(tmp_path / "over" / "made") == mode_of(tmp_path / "open") == 0o700


def test_where_no_folder_can_be_it_is_said(tmp_path):
    (tmp_path / "file").touch()
    assert "file" in private_folder(tmp_path / "file" / "folder")


def test_a_file_is_made_for_its_owner_alone_and_none_that_is_there_is_touched(tmp_path):
    private_file(tmp_path / "new")
    assert mode_of(tmp_path / "new") == 0o600
    (tmp_path / "old").write_text("kept")
    private_file(tmp_path / "old")
    assert (tmp_path / "old").read_text() == "kept"
    private_file(tmp_path / "nowhere" / "new")  # which other checks tell of


def test_a_folder_that_stays_open_is_told_of(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    tmp_path.chmod(0o700)
    assert "noughtbook.W006" not in {found.id for found in run_checks(tags=["noughtbook"])}
    tmp_path.chmod(0o750)
    assert "noughtbook.W006" in {found.id for found in run_checks(tags=["noughtbook"])}
