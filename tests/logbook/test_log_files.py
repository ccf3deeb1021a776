"""Which files of a folder are taken for logs."""

from __future__ import annotations

from pathlib import Path

import pytest

from babbitt.logbook.log_files import is_log, logs_in


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("run.csv", True),
        ("RUN.CSV", True),
        ("run.txt", True),
        ("run.tsv", True),
        ("run.csv.gz", True),
        ("run.csv.zst", True),
        ("run.zip", True),
        ("run.csv.zip", True),
        ("photo.jpg.gz", False),
        ("backup.tar.gz", False),
        ("run.csv.part", False),
        (".run.csv", False),
        ("~$run.csv", False),
        ("run.xlsx", False),
        ("csv", False),
    ],
)
def test_a_log_is_told_by_its_name(name: str, taken: bool) -> None:
    assert is_log(Path(name)) == taken


def test_logs_are_found_in_folders_below_but_not_in_what_a_logbook_keeps(tmp_path: Path) -> None:
    names = [
        "b.csv",
        "2025/a.csv",
        ".hidden/x.csv",
        "book/logbook.toml",
        "book/mine.csv",
        "book/originals/ab/x.csv",
        "book/runs/engine=E1/x.csv",
        "runs/c.csv",
    ]
    for name in names:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    found = [path.relative_to(tmp_path).as_posix() for path in logs_in(tmp_path)]
    assert found == ["2025/a.csv", "b.csv", "book/mine.csv", "runs/c.csv"]


def test_a_folder_that_is_gone_is_an_error_not_an_empty_one(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        logs_in(tmp_path / "gone")
