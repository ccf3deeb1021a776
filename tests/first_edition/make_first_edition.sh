#!/usr/bin/env bash
# How the first-edition fixture was made: with the command line of the first edition (its last
# commit), from logs and findings cut from that edition's demo. Everything in it is invented.
#   make_first_edition.sh CHECKOUT_OF_THE_FIRST_EDITION OUT_FOLDER
set -euo pipefail
first=$1 out=$2
B="$first/.venv/bin/babbitt"
work=$(mktemp -d)
demo="$first/demo_logs"
book="$work/book"
export BABBITT_LOGBOOK="$book"
cut() { python3 - "$demo/logs/$1" "$work/$1" "$2" "$3" <<'P'
import sys
source, target, start, lines = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
raw = open(source, "rb").read()
mark = b"\n\x00" if raw[:2] == b"\xff\xfe" else b"\n"
rows = raw.split(mark)
open(target, "wb").write(mark.join(rows[:8] + rows[8 + start : 8 + start + lines]) + mark)
P
}
mkdir -p "$work"
"$B" init "$book" --timezone Europe/Berlin
cat "$demo/logbook.toml" > "$work/settings"
{ echo 'schema_version = 1'; cat "$work/settings"; } > "$book/logbook.toml"
for engine in NB-01 NB-02; do "$B" engine add $engine --spec "$demo/specs/$engine.toml" --built 2025-01-10; done
"$B" engine add NB-09 --spec "$demo/specs/NB-03.toml" --built 2025-02-01
fit() { "$B" part fit "$1" --engine "$2" --at "$3" ${4:+--position $4}; }
add() { "$B" part add "$1" --kind "$2" --note "invented"; }
for n in 1 2 3 4; do
  add RB1-$n rod_bearing; fit RB1-$n NB-01 2025-01-10 $n
  add RB2-$n rod_bearing; fit RB2-$n NB-02 2025-01-10 $n
  add PI1-$n piston_pin; fit PI1-$n NB-01 2025-01-10 $n
done
for n in 1 2 3 4 5; do add MB1-$n main_bearing; fit MB1-$n NB-01 2025-01-10 $n; done
add CJ1-1 crank_journal; fit CJ1-1 NB-01 2025-01-10 1
add CR-1 crankshaft; fit CR-1 NB-01 2025-01-10
add HD-1 cylinder_head; fit HD-1 NB-01 2025-01-10
add TB-1 turbo_bearing; fit TB-1 NB-01 2025-01-10 exhaust
add VS-SET valve_spring; fit VS-SET NB-02 2025-01-10
add SPARE rod_bearing
"$B" part history CR-1 --hours 6.5 --revolutions 2106000 --until 2024-10-20 --note "by its owner's book; invented" || true
"$B" part out SPARE --to "crank shop" --for "check" --at 2025-02-01 --due 2025-03-01
"$B" part back SPARE --at 2025-02-20 --result "fit for use"
cut NB-01_2026-06-13_tollbar.csv 1500 1200
cut NB-01_2026-07-04_rolls.csv 600 900
cut NB-01_2026-08-15_tollbar.csv 1500 1200
cut NB-02_2026-05-10_fennick.csv 1500 1200
cut NB-02_2026-06-20_tollbar.csv 800 1200
cut NB-02_2026-10-10_fennick.csv 800 1200
for log in 2026-06-13_tollbar 2026-07-04_rolls 2026-08-15_tollbar; do
  "$B" ingest "$work/NB-01_$log.csv" --engine NB-01
done
"$B" ingest "$work/NB-02_2026-05-10_fennick.csv" "$work/NB-02_2026-06-20_tollbar.csv" "$work/NB-02_2026-10-10_fennick.csv" --engine NB-02 --circuit "Fennick Hill"
printf 'Time,RPM,Oil P\n0,1000,300\n0.1,1010,300\n0.2,1000,301\n' > "$work/nounits.csv"
printf 'Time,RPM,Oil P\n0,1000,310\n0.1,1010,300\n0.2,1000,301\n' > "$work/nounits2.csv"
"$B" ingest "$work/nounits.csv" --engine NB-01 || true
"$B" ingest "$work/nounits2.csv" --engine NB-01 || true
id=$("$B" log refused --json | python3 -c 'import json,sys; d=json.load(sys.stdin); print((d if isinstance(d,list) else d["refused"])[0]["sha256"][:10])')
"$B" log set-aside "$id"
runs() { "$B" run list --json | python3 -c "import json,sys; print('\n'.join(r['run_id'] for r in json.load(sys.stdin) if r['engine_id']=='$1'))"; }
mapfile -t r1 < <(runs NB-01); mapfile -t r2 < <(runs NB-02)
"$B" run amend "${r2[1]}" --circuit "Tollbar Bowl"
"$B" run reread "${r1[1]}" --without boost --note "hose was off"
"$B" run trust "${r1[0]}" --note "new sensor" || true
"$B" run assign "${r1[2]}" --engine NB-02 --note "wrong car"
"$B" run assign "${r1[2]}" --engine NB-01 --note "right after all"
"$B" run remove "${r2[2]}" --note "twice"; "$B" run restore "${r2[2]}"
"$B" run add-unlogged --engine NB-02 --at "2026-05-01 10:00" --minutes 25 || "$B" run add-unlogged NB-02 --at "2026-05-01 10:00" --minutes 25
mapfile -t ev < <("$B" events --json | python3 -c "import json,sys; print('\n'.join(e['event_id'] for e in json.load(sys.stdin)))")
echo "events: ${#ev[@]}"
"$B" review "${ev[0]}" confirmed --note "seen on video"
"$B" review "${ev[1]}" sensor_fault --note "plug was loose"
"$B" review "${ev[2]}" harmless
"$B" review "${ev[2]}" confirmed --note "changed my mind"
cp -r "$demo/findings" "$work/findings"
"$B" teardown record NB-02 --at 2026-07-06 --findings "$work/findings/NB-02_2026-07-06.toml" --note "gearbox out anyway"
cat > "$work/sheet.toml" <<'T'
[[line]]
part = "rod_bearing"
action = "replaced"
[[line]]
part = "main_bearing"
action = "reused"
[[measurement]]
part = "rod_bearing"
position = "2"
name = "clearance"
value = 0.051
unit = "mm"
low = 0.045
high = 0.065
[[measurement]]
part = "crank_journal"
position = "2"
name = "diameter"
value = 47.991
unit = "mm"
T
"$B" engine refresh NB-02 --at 2026-07-10 --sheet "$work/sheet.toml" --note "new mains"
"$B" teardown record NB-01 --at 2026-06-16 --findings "$work/findings/NB-01_2026-06-16.toml"
"$B" engine refresh NB-01 --at 2026-06-20 --note "head off"
"$B" amend refresh 1 note="new mains and shells" --note "said more"
"$B" amend finding 3 grade=2 --note "looked again"
"$B" withdraw finding 4 --note "written down twice"
"$B" amend part SPARE note="bought used, invented" --note "said more"
"$B" part remove RB2-3 --at 2026-07-09
"$B" undo --note "not that one"; "$B" redo
"$B" engine refresh NB-02 --at 2026-10-20 --note "by mistake"; "$B" undo
mkdir -p "$out"
answers() {
  python3 - "$B" "$out/first_edition_answers.json" <<'P'
import json, subprocess, sys
def ask(*words):
    done = subprocess.run([sys.argv[1], *words, "--json"], capture_output=True, text=True)
    return json.loads(done.stdout) if done.returncode == 0 else {"refused": done.stderr.strip()}
asked = {
    "engine list": ("engine", "list"), "run list": ("run", "list"), "events": ("events",),
    "totals": ("totals",), "totals NB-01 --parts": ("totals", "NB-01", "--parts"),
    "totals NB-02 --parts": ("totals", "NB-02", "--parts"),
    "teardown list NB-01": ("teardown", "list", "NB-01"), "teardown list NB-02": ("teardown", "list", "NB-02"),
    "part list": ("part", "list"), "journal": ("journal",), "log refused": ("log", "refused"),
    "outlook NB-01": ("outlook", "NB-01"), "outlook NB-02": ("outlook", "NB-02"), "match NB-02": ("match", "NB-02"),
    "engine sheet NB-02": ("engine", "sheet", "NB-02"), "check": ("check",),
}
with open(sys.argv[2], "w") as file:
    json.dump({name: ask(*words) for name, words in asked.items()}, file, indent=1, ensure_ascii=False)
P
}
answers
"$B" check
"$B" withdraw engine NB-09 --note "added by mistake" || true
rm -f "$out/first_edition_backup.tar" "$out/first_edition_backup.tar.xz"
"$B" backup "$out/first_edition_backup.tar"
xz -9f "$out/first_edition_backup.tar"
tar -C "$work" -cJf "$out/first_edition_logbook.tar.xz" book
ls -la "$book" "$out"
