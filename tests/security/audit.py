"""Ask a public database whether any locked dependency has a known hole.

    python tests/security/audit.py [LOCK_FILE]

Fails and names what is concerned. Where the database cannot be reached it says so in one line, and
passes: work goes on without a network, and a later run catches up.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

LOCK = Path(__file__).parents[2] / "requirements.lock"
LONGEST_S = 300.0
_UNREACHED = ("ConnectionError", "ServiceError", "Timeout")
"""One of these names pip-audit ends with where the database gave no answer."""


def audit(lock: Path, *options: str) -> tuple[int, str]:
    """Return the status to end with, and what to say.

    Args:
        lock: requirements with versions and hashes.
        options: more for pip-audit.
    """
    command = [sys.executable, "-m", "pip_audit", "--requirement", str(lock), "--no-deps"]
    command += ["--disable-pip", "--vulnerability-service", "osv", "--format", "json", *options]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False, timeout=LONGEST_S
        )
    except subprocess.TimeoutExpired:
        return 0, f"not audited: the database of advisories did not answer in {LONGEST_S:.0f} s."
    try:
        found: list[dict[str, Any]] = json.loads(done.stdout)["dependencies"]
    except (ValueError, KeyError):
        if any(name in done.stderr for name in _UNREACHED):
            return 0, f"not audited: the database of advisories for {lock.name} cannot be reached."
        return 1, f"not audited, for {lock.name} cannot be read: {done.stderr.strip()[-500:]}"
    skipped = [each["name"] for each in found if "skip_reason" in each]
    holes = [
        f"{each['name']} {each['version']}: {hole['id']}"
        + (f", mended in {', '.join(hole['fix_versions'])}" if hole["fix_versions"] else "")
        for each in found
        for hole in each.get("vulns", ())
    ]
    said = [f"not audited: {', '.join(skipped)}."] if skipped else []
    if len(found) > len(skipped):
        said.append(
            f"{len(found) - len(skipped)} dependencies of {lock.name} audited: "
            + ("; ".join(holes) if holes else "no advisory applies")
            + "."
        )
    return int(bool(holes)), " ".join(said)


def main() -> None:
    status, said = audit(Path(sys.argv[1]) if len(sys.argv) > 1 else LOCK)
    print(said)
    sys.exit(status)


if __name__ == "__main__":
    main()
