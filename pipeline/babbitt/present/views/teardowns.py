"""The page of teardowns: every one with what was found, and whether the log explains it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from weakref import WeakKeyDictionary

from babbitt.damage.attribution import Match
from babbitt.jobs.attribute import explain_findings
from babbitt.logbook.folder import Logbook
from babbitt.model.damage_modes import mode_named
from babbitt.model.part_records import FindingRecord, TeardownRecord
from babbitt.present.views.foresight import Foreseen
from babbitt.present.words import place
from babbitt.register.records.teardowns import findings_of


@dataclass(frozen=True)
class TeardownLine:
    """A teardown in one line.

    Attributes:
        teardown: the teardown.
        counts: how many findings have each grade.
        worst: finding of the highest grade; None: everything was sound.
        matches: findings of damage that could be judged.
        unjudged: how many findings of damage could not be.
    """

    teardown: TeardownRecord
    counts: Mapping[int, int]
    worst: FindingRecord | None
    matches: tuple[Match, ...]
    unjudged: int

    @property
    def worst_words(self) -> str:
        """What the worst finding is of; "" where everything was sound."""
        return finding_words(self.worst) if self.worst else ""

    @property
    def explained(self) -> str:
        """In words, whether the log explains what was found; "" where no damage was."""
        odd = [match for match in self.matches if match.unexplained]
        if not self.matches and not self.unjudged:
            return ""
        known = len(self.matches) - len(odd)
        words = [f"{known} of {len(self.matches) + self.unjudged} by the log"]
        if odd:
            names = ", ".join(place(m.finding.part, (m.finding.position,)) for m in odd)
            words.append(f"look at the assembly: {names}")
        if self.unjudged:
            words.append(f"{self.unjudged} without a life dose in the spec")
        return "; ".join(words)


@dataclass(frozen=True)
class IntactEngine:
    """An engine that was not taken apart since it was last built or refreshed.

    Attributes:
        engine_id: the engine.
        since: UTC, when its build began; None where nobody said.
        runs: of that build.
        running_s: of that build.
    """

    engine_id: str
    since: datetime | None
    runs: int
    running_s: float


@dataclass(frozen=True)
class TeardownList:
    """All teardowns, and the engines that could come apart next.

    Attributes:
        lines: newest first.
        intact: engines whose build of today has no teardown.
        engines: all engines.
    """

    lines: tuple[TeardownLine, ...]
    intact: tuple[IntactEngine, ...]
    engines: tuple[str, ...]


def teardown_list(book: Logbook, foreseen: Foreseen) -> TeardownList:
    """Return all teardowns of a logbook; worked out once for each state of its record.

    Args:
        book: the logbook.
        foreseen: what its record foretells.
    """
    if foreseen not in _MADE:
        _MADE[foreseen] = _listed(book, foreseen)
    return _MADE[foreseen]


_MADE: WeakKeyDictionary[Foreseen, TeardownList] = WeakKeyDictionary()


def _listed(book: Logbook, foreseen: Foreseen) -> TeardownList:
    gathered = foreseen.gathered
    with book.register.reading() as session:
        found: dict[int, list[FindingRecord]] = defaultdict(list)
        for each in findings_of(session):
            found[each.teardown.teardown_id].append(each)
    lines = []
    for teardown in reversed(gathered.teardowns):
        findings = found[teardown.teardown_id]
        learned = foreseen.known[teardown.engine_id].learned
        matches, unjudged = explain_findings(gathered, learned, teardown, findings)
        lines.append(_line(teardown, findings, matches, len(unjudged)))
    apart = {(each.engine_id, each.build_number) for each in gathered.teardowns}
    intact = []
    for engine_id, builds in gathered.builds.items():
        build = builds[-1]
        if (engine_id, build.number) not in apart:
            runs = [
                run
                for run in gathered.runs.get(engine_id, ())
                if build.since is None or run.started_at >= build.since
            ]
            running_s = sum(run.running_s for run in runs)
            intact.append(IntactEngine(engine_id, build.since, len(runs), running_s))
    return TeardownList(tuple(lines), tuple(intact), tuple(gathered.specs))


def finding_words(record: FindingRecord) -> str:
    """Return what was found where: rod bearing 2 wiped."""
    finding = record.finding
    where = place(finding.part, (finding.position,))
    if finding.damage_mode is None:
        return f"{where} sound"
    return f"{where} {mode_named(finding.part, finding.damage_mode).title}"


def _line(
    teardown: TeardownRecord,
    findings: Sequence[FindingRecord],
    matches: tuple[Match, ...],
    unjudged: int,
) -> TeardownLine:
    worst = max(findings, key=lambda each: each.finding.grade, default=None)
    if worst is not None and worst.finding.grade == 0:
        worst = None
    counts = Counter(each.finding.grade for each in findings)
    return TeardownLine(teardown, counts, worst, matches, unjudged)
