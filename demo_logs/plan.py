"""The two invented seasons of an invented team."""

from __future__ import annotations

from demo_logs.logs_2025 import LOGS_2025
from demo_logs.logs_2026 import LOGS_2026

TEAM = "Nettlebrook Motorsport"
LOGS = (*LOGS_2025, *LOGS_2026)
