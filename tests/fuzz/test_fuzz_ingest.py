from pathlib import Path

from fuzzing import fuzz

COUNT = 100


def test_damaged_logs_are_taken_in_with_their_flags_or_refused(tmp_path: Path) -> None:
    ends = fuzz(tmp_path, range(COUNT), command_every=COUNT // 2)
    assert ends["refused"] > COUNT // 10
    assert ends["ingested"] > COUNT // 10
