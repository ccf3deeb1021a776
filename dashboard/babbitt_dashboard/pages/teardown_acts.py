"""During a teardown: what each button, key and field does to the draft."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from babbitt.errors import RegisterError
from babbitt.jobs.record_teardown import (
    add_findings,
    amend_finding,
    aside_in,
    record_findings,
    set_photo_aside,
    withdraw_finding,
)
from babbitt.model.positions import spots_of
from babbitt.present.views.teardown import recorded_finding
from babbitt.present.views.teardown_draft import (
    Draft,
    DraftPhoto,
    check,
    finding_of,
    taken_apart_at,
)
from babbitt_dashboard.address import path_to
from babbitt_dashboard.desk import Desk
from babbitt_dashboard.pages.teardown_form import layout_of

_OF_TEARDOWN = {"teardown_note": "note"} | {name: name for name in ("day", "hour", "reason")}
"""Field of the form -> field of the draft."""
_OF_ENTRY = ("value", "low", "high", "note")


@dataclass(frozen=True)
class Acted:
    """What a page is after something was done on it.

    Attributes:
        draft: what is entered.
        part: chosen kind of part; "": none.
        position: of it.
        entry: number of the entry in the form; 0: one that is not begun.
        said: what to tell, a sentence; "": nothing.
        go: the address to go on to; None: stay.
    """

    draft: Draft
    part: str = ""
    position: str = ""
    entry: int = 0
    said: str = ""
    go: str | None = None

    def at(self, part: str, position: str) -> Acted:
        """Return it with another part chosen, and its first entry in the form."""
        entries = self.draft.entries_at(part, position)
        return replace(self, part=part, position=position, entry=entries[0].n if entries else 0)

    def begun(self) -> Acted:
        """Return it with an entry on the chosen part in the form.

        Raises:
            RegisterError: no part is chosen.
        """
        if not self.part:
            raise RegisterError("Choose a part first.")
        if self.entry:
            return self
        draft, n = self.draft.begun(self.part, self.position)
        return replace(self, draft=draft, entry=n)

    def changed(self, **fields: Any) -> Acted:
        """Return it with fields of the entry in the form changed."""
        begun = self.begun()
        return replace(begun, draft=begun.draft.changed(begun.entry, **fields))


def act(desk: Desk, bench: Mapping[str, Any], here: Acted, do: str, to: str) -> Acted:
    """Return the page after a button was pressed.

    Args:
        desk: the logbook.
        bench: the engine.
        here: the page before.
        do: what the button does.
        to: with what.

    Raises:
        BabbittError: it cannot be done.
    """
    if do in ("choose", "at"):
        part, _, position = to.partition("|")
        return here.at(part, position)
    if do in ("record", "withdraw"):
        return _record(desk, bench, here) if do == "record" else _withdraw(desk, bench, here)
    if do == "discard":
        return Acted(Draft(), said="The draft is empty.")
    return _BUTTONS[do](bench, here, to)


def typed(here: Acted, name: str, n: int, value: str) -> Acted:
    """Return the page after a field was changed.

    Args:
        here: the page before.
        name: of the field.
        n: number of its entry; 0: of one that is not begun; -1: the field is the teardown's.
        value: as typed.

    Raises:
        RegisterError: there is no such field or entry.
    """
    if n < 0 and name in _OF_TEARDOWN:
        return replace(here, draft=here.draft.model_copy(update={_OF_TEARDOWN[name]: value}))
    if name not in _OF_ENTRY:
        raise RegisterError("There is no such field: load the page again.")
    if n in (0, here.entry):
        return here.changed(**{name: value})
    return replace(here, draft=here.draft.changed(n, **{name: value}))


def photographed(desk: Desk, here: Acted, files: Sequence[tuple[str, str]]) -> Acted:
    """Return the page after photos were dropped on the chosen part.

    Args:
        desk: the logbook.
        here: the page before.
        files: name and content of each, the latter as a data URL.

    Raises:
        RegisterError: one is no photo, or too large.
        LogbookError: it cannot be kept.
    """
    page = here.begun()
    for name, content in files:
        try:
            data = base64.b64decode(content.partition(",")[2], validate=True)
        except binascii.Error as error:
            raise RegisterError(f"{name} did not come in whole: drop it again.") from error
        kept, thumbnail = set_photo_aside(desk.book, data, name=name)
        url = f"data:image/jpeg;base64,{base64.b64encode(thumbnail).decode()}"
        photos = page.draft.entry(page.entry).photos
        if kept not in [photo.name for photo in photos]:
            photo = DraftPhoto(name=kept, thumbnail=url, taken_as=name)
            page = page.changed(photos=(*photos, photo))
    return page


def _grade(_bench: Mapping[str, Any], here: Acted, to: str) -> Acted:
    page = here.begun()
    return replace(page, draft=page.draft.graded(page.entry, int(to)))


def _entry(_bench: Mapping[str, Any], here: Acted, to: str) -> Acted:
    entry = here.draft.entry(int(to))
    return replace(here, part=entry.part, position=entry.position, entry=entry.n)


def _remove(_bench: Mapping[str, Any], here: Acted, to: str) -> Acted:
    return replace(here, draft=here.draft.without(int(to))).at(here.part, here.position)


def _others(bench: Mapping[str, Any], here: Acted, _to: str) -> Acted:
    offered = {position for part, position in bench["spots"] if part == here.part}
    others = [
        position
        for position in spots_of(here.part, layout_of(bench))
        if position in offered and position != here.position
    ]
    draft = here.draft.others_sound(here.part, others)
    count = len(draft.entries) - len(here.draft.entries)
    return replace(here, draft=draft, said=f"{count} more found sound.")


def _earlier(_bench: Mapping[str, Any], here: Acted, _to: str) -> Acted:
    draft = here.draft.model_copy(update={"earlier": not here.draft.earlier})
    return replace(here, draft=draft)


def _unphoto(_bench: Mapping[str, Any], here: Acted, to: str) -> Acted:
    left = tuple(p for p in here.draft.entry(here.entry).photos if p.name != to)
    return here.changed(photos=left)


def _step(bench: Mapping[str, Any], here: Acted, to: str) -> Acted:
    """Go to the next part in the order of the sheet, or back; at its ends, stay."""
    spots = [tuple(spot) for spot in bench["spots"]]
    at = spots.index((here.part, here.position)) if (here.part, here.position) in spots else -1
    then = at + 1 if to == "next" else max(at - 1, 0)
    return here.at(*spots[min(then, len(spots) - 1)])


_BUTTONS: dict[str, Callable[[Mapping[str, Any], Acted, str], Acted]] = {
    "grade": _grade,
    "mode": lambda _bench, here, to: here.changed(mode=to),
    "measured": lambda _bench, here, to: here.changed(measured=to),
    "then": lambda _bench, here, to: here.changed(disposition=to),
    "entry": _entry,
    "open": _entry,
    "another": lambda _bench, here, _to: replace(here, entry=0),
    "remove": _remove,
    "earlier": _earlier,
    "others": _others,
    "step": _step,
    "unphoto": _unphoto,
}


def _record(desk: Desk, bench: Mapping[str, Any], here: Acted) -> Acted:
    engine_id = bench["engine"]
    if bench["finding"] is not None:
        return _amend(desk, bench, here)
    checked = check(here.draft)
    if checked.faults:
        raise RegisterError(next(iter(checked.faults.values())))
    if not checked.findings:
        raise RegisterError("Nothing is entered yet: choose a part and grade it.")
    folder = aside_in(desk.book)
    if bench["teardown"] is not None:
        record = add_findings(
            desk.book, bench["teardown"], checked.findings, photos_in=folder, who=desk.who
        )
    else:
        said = {"day": here.draft.day or bench["day"], "hour": here.draft.hour or bench["hour"]}
        draft = here.draft.model_copy(update=said)
        record = record_findings(
            desk.book,
            engine_id,
            checked.findings,
            photos_in=folder,
            at=taken_apart_at(draft, desk.reader.timezone, now=desk.now()),
            note=draft.note,
            earlier_build=draft.earlier,
            who=desk.who,
        )
    return Acted(Draft(), go=path_to("teardown", engine_id, at=record.at.isoformat()))


def _amend(desk: Desk, bench: Mapping[str, Any], here: Acted) -> Acted:
    record = recorded_finding(desk.book, bench["engine"], bench["finding"])
    finding = finding_of(here.draft.entries[0], recorded=record.finding)
    amend_finding(
        desk.book,
        record.finding_id,
        finding,
        seen=bench["seen"],
        reason=_reason(here),
        who=desk.who,
    )
    return Acted(Draft(), go=_back(bench))


def _withdraw(desk: Desk, bench: Mapping[str, Any], here: Acted) -> Acted:
    withdraw_finding(
        desk.book, bench["finding"], seen=bench["seen"], reason=_reason(here), who=desk.who
    )
    return Acted(Draft(), go=_back(bench))


def _reason(here: Acted) -> str:
    if not here.draft.reason.strip():
        raise RegisterError("Say why: the journal keeps the reason with the correction.")
    return here.draft.reason.strip()


def _back(bench: Mapping[str, Any]) -> str:
    return path_to("teardown", bench["engine"], at=bench["at"])
