"""Studies as commands.

    python -m tests.studies coverage --days 1000 --processes 2 --out coverage.json

draws days by the hostile simulator, fits them, and tells how often 95 % intervals hold the truth. Records lie
beside the JSON in a .jsonl; the same command resumes where it stopped. `--set wind=gusty --set pairs=4` fixes
fields of the scenario, `--plain` starts from the plain scenario instead of the mixture, and
`--plain --set fixed_truth=true` repeats one truth for RMS errors. `--loads` draws days on which axle loads are
logged and tells of downforce, balance, ride heights and bends besides; `--table` writes that for the help.
`--typed` draws days without a logger, on which somebody timed coast-downs by a speedometer and a stopwatch.

    python -m tests.studies dampers --days 300

fits the same days with and without their load channels: the ratio of SCx's RMS errors.

    python -m tests.studies bend --days 300

tells how often a downforce that bends by 10 % over the speeds is found out, and how often one that does not is
said to: `--set` is for the days that bend, `--set-straight` for the days of the mixture that do not.

    python -m tests.studies faults --days 20

fits the same days with each fault of the load sensors and without: survived, named, or neither.

    python -m tests.studies floor --days 60

tells what gusts alone leave to perfect instruments, beside what is asked of downforce and balance.

    python -m tests.studies differences --days 1000 --apart 500

draws days of baseline, change, baseline that drift, and tells how often the intervals of differences hold; the first
of them are fitted a second time, each setup by itself, to set the joint u beside that of two fits in quadrature.

    python -m tests.studies correlation --seasons 1000

draws seasons whose predictions are wrong by a known share, and tells how often bias, factor and slope hold, how often a
verdict is false, and how often a bias is found.

    python -m tests.studies tufts --photos 60

draws photos of tufts at random, among all that lies about a car, and tells how many the machine finds, what else it
takes for one, and how far its directions are off; `--lifelike` with what real photographs have besides.

    python -m tests.studies tuft-weights

fits the weights by which bars on a photo are judged tufts, to made-up photos, and writes them beside the code.

    python -m tests.studies bursts --bursts 20

draws bursts of photos whose tufts swing by a known amount, and tells whether intervals of that amount hold and whether
the conditions that are proposed are right.

    python -m tests.studies seasons --seasons 300

draws seasons of a few days with effects of the day, and tells how often intervals of a difference over days hold.

    python -m tests.studies uploads --moments 100

kills a real server at chance moments while files come in, and tells whether an acknowledged byte was lost.

    python -m tests.studies entries --moments 20

kills it while a tablet sends entries in order: is each kept, once?

    python -m tests.studies prompt

sends the last log of a sample day, 4 MB, to a real server, and tells how soon its estimate stands on another tablet.
`coverage --fitter early` judges early estimates like the fit, `--fitter first` those half-way through a first fit.

    python -m tests.studies seen

types on one tablet, and tells how soon it stands on another.

    python -m tests.studies kills --moments 100

the same while days are added, corrected and fitted and jobs are called off, over the whole archive; with `--postgres`
its database is on a PostgreSQL server that the study starts.

    python -m tests.studies fuzz --files 10000 --first-seed 2720001

sends malformed logs, tables, pictures and day folders to a real server by its own routes: is each refused or taken in
good time and within bounds of memory, and is the archive sound in the end? A file is made again by its seed.

    python -m tests.studies tablets --minutes 10

eight tablets read pages in turn while three others send logs and wait for their fits: does anybody meet an error,
and is p95 of a page within 300 ms?

    python -m tests.studies schema --examples 50

draws bodies, addresses and queries from the description of the JSON interface, as it allows them and as it does not,
for each role: is an answer a mistake of the program, or of a status that the description does not know?
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tests.simulator.scenario import FAULTS
from tests.studies import fit_commands, server_commands
from tests.studies.correlation import holds as correlation_holds
from tests.studies.correlation import run as hold_predictions
from tests.studies.correlation import text as correlation_text
from tests.studies.fields import scenario_field
from tests.studies.fitters import FITTERS
from tests.studies.floor import report as report_floor
from tests.studies.outlets import store, write
from tests.studies.plans import report as report_plans
from tests.studies.plans import run as try_plans
from tests.studies.seasons import report as report_seasons
from tests.studies.seen import report as report_seen
from tests.studies.tuft_bursts import report as report_bursts
from tests.studies.tuft_bursts import run as read_bursts
from tests.studies.tuft_weights import WRITTEN
from tests.studies.tuft_weights import run as fit_weights
from tests.studies.tufts import report as report_tufts
from tests.studies.tufts import run as read_photos


def main(words: list[str] | None = None) -> int:
    """0 when all holds, 1 when something does not."""
    asked = _parser().parse_args(words)
    command: int = asked.study(asked)
    return command


def _seen(asked: argparse.Namespace) -> int:
    for line in report_seen(asked.times):
        print(line)
    return 0


def _seasons(asked: argparse.Namespace) -> int:
    for line in report_seasons(asked.seasons, asked.first_seed):
        print(line, flush=True)
    return 0


def _plans(asked: argparse.Namespace) -> int:
    trials = try_plans(asked.first_seed, asked.plans, store(asked.out))
    print(report_plans(trials))
    return 0


def _correlation(asked: argparse.Namespace) -> int:
    found = hold_predictions(asked.seasons, asked.first_seed)
    print(correlation_text(found))
    write(asked.out, found)
    return 0 if correlation_holds(found) else 1


def _bursts(asked: argparse.Namespace) -> int:
    seeds = range(asked.first_seed, asked.first_seed + asked.bursts)
    print(report_bursts(read_bursts(seeds, asked.width, asked.memory, store(asked.out), asked.processes)))
    return 0


def _tufts(asked: argparse.Namespace) -> int:
    seeds = range(asked.first_seed, asked.first_seed + asked.photos)
    trials = read_photos(seeds, asked.width, asked.lifelike, store(asked.out), asked.processes)
    print(report_tufts(trials))
    return 0


def _tuft_weights(asked: argparse.Namespace) -> int:
    print(fit_weights(asked.processes, asked.out))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.studies", description="Long studies on simulated days."
    )
    studies = parser.add_subparsers(required=True)
    coverage = studies.add_parser("coverage", help="how often 95 %% intervals hold the truth")
    coverage.set_defaults(study=fit_commands.coverage)
    days = coverage.add_mutually_exclusive_group()
    days.add_argument("--loads", action="store_true", help="days with axle loads")
    days.add_argument("--typed", action="store_true", help="days without a log: coast-downs typed by hand")
    coverage.add_argument("--table", type=Path, help="JSON of the loads' table for the help")
    dampers = studies.add_parser("dampers", help="SCx with and without axle loads on the same days")
    dampers.set_defaults(study=fit_commands.dampers)
    for each in (coverage, dampers):
        each.add_argument("--plain", action="store_true", help="the plain scenario instead of the mixture")
    bend = studies.add_parser("bend", help="how often a bend is found out, and falsely said")
    bend.set_defaults(study=fit_commands.bend)
    bend.add_argument("--set-straight", type=scenario_field, action="append", default=[], metavar="FIELD=VALUE",
                      help="a field for the days that do not bend")  # fmt: skip
    ills = studies.add_parser("faults", help="each fault of a load sensor: survived or named")
    ills.set_defaults(study=fit_commands.faults)
    ills.add_argument("--fault", choices=list(FAULTS), action="append", help="only this one (may be repeated)")
    differences = studies.add_parser("differences", help="differences of setups on days that drift")
    differences.set_defaults(study=fit_commands.differences)
    differences.add_argument("--apart", type=int, default=500, help="so many of them fitted apart too (default 500)")
    for each in (coverage, dampers, bend, ills, differences):
        _common(each)
    floor = studies.add_parser("floor", help="what gusts alone leave to perfect instruments")
    floor.set_defaults(study=report_floor)
    floor.add_argument("--days", type=int, default=60, help="of each wind (default 60)")
    floor.add_argument("--first-seed", type=int, default=1, help="seed of the first day (default 1)")
    plans = studies.add_parser("plans", help="do planned days tell what their plans said")
    plans.set_defaults(study=_plans)
    plans.add_argument("--plans", type=int, default=100, help="number of plans (default 100)")
    plans.add_argument("--first-seed", type=int, default=1, help="seed of the first (default 1)")
    plans.add_argument("--out", type=Path, help="trials are kept beside this file, and read again")
    correlation = studies.add_parser("correlation", help="do verdicts on predictions hold")
    correlation.add_argument("--seasons", type=int, default=1000)
    correlation.add_argument("--first-seed", type=int, default=2_641_001)
    correlation.add_argument("--out", type=Path)
    correlation.set_defaults(study=_correlation)
    prompt = studies.add_parser("prompt", help="from the last byte of a log to its estimate on another tablet")
    prompt.set_defaults(study=server_commands.prompt)
    prompt.add_argument("--day", default="calm morning", help="a part of the sample day's name")
    prompt.add_argument("--runs", type=int, help="only its first so many runs")
    prompt.add_argument("--times", type=int, default=1, help="how often it is measured (default 1)")
    seen = studies.add_parser("seen", help="how soon what is typed on one tablet stands on another")
    seen.set_defaults(study=_seen)
    seen.add_argument("--times", type=int, default=8, help="how often (default 8)")
    tufts = studies.add_parser("tufts", help="tufts read off made-up photos")
    tufts.set_defaults(study=_tufts)
    tufts.add_argument("--photos", type=int, default=60, help="number of photos (default 60)")
    tufts.add_argument("--first-seed", type=int, default=1, help="seed of the first (default 1)")
    tufts.add_argument("--width", type=int, default=4000, help="of a photo, in pixels (default 4000)")
    tufts.add_argument("--processes", type=int, default=2, help="photos read at a time (default 2)")
    tufts.add_argument("--out", type=Path, help="trials are kept beside this file, and read again")
    fuzz = studies.add_parser("fuzz", help="malformed files by the thousand: refused, in time, nothing harmed")
    fuzz.set_defaults(study=server_commands.fuzz)
    fuzz.add_argument("--files", type=int, default=10_000, help="number of files (default 10000)")
    fuzz.add_argument("--patience", type=float, default=1.0, help="times the limits of time, on a busy machine")
    fuzz.add_argument("--first-seed", type=int, default=2_720_001, help="seed of the first (default 2720001)")
    tufts.add_argument("--lifelike", action="store_true", help="photos with what real ones have besides")
    weights = studies.add_parser("tuft-weights", help="fit the weights by which bars are judged tufts")
    weights.set_defaults(study=_tuft_weights)
    weights.add_argument("--processes", type=int, default=2, help="photos drawn at a time (default 2)")
    weights.add_argument("--out", type=Path, default=WRITTEN, help="where to (default: beside the code)")
    bursts = studies.add_parser("bursts", help="unsteadiness told from bursts of made-up photos")
    bursts.set_defaults(study=_bursts)
    bursts.add_argument("--bursts", type=int, default=20, help="number of bursts (default 20)")
    bursts.add_argument("--first-seed", type=int, default=1, help="seed of the first (default 1)")
    bursts.add_argument("--width", type=int, default=1600, help="of a frame, in pixels (default 1600)")
    bursts.add_argument("--memory", type=float, default=0.0, help="of a swing from frame to frame, 0 to 1 (default 0)")
    bursts.add_argument("--processes", type=int, default=2, help="bursts read at a time (default 2)")
    bursts.add_argument("--out", type=Path, help="trials are kept beside this file")
    schema = studies.add_parser("schema", help="the JSON interface against its own description")
    schema.set_defaults(study=server_commands.schema)
    schema.add_argument("--examples", type=int, default=50, help="of each operation, role and kind (default 50)")
    tablets = studies.add_parser("tablets", help="eight tablets reading, three sending, for minutes")
    tablets.set_defaults(study=server_commands.tablets)
    tablets.add_argument("--minutes", type=float, default=10.0, help="how long (default 10)")
    seasons = studies.add_parser("seasons", help="do intervals of differences over days hold")
    seasons.set_defaults(study=_seasons)
    seasons.add_argument("--seasons", type=int, default=300, help="number of each kind (default 300)")
    seasons.add_argument("--first-seed", type=int, default=1, help="seed of all (default 1)")
    uploads = studies.add_parser("uploads", help="kill -9 of a real server while files come in")
    uploads.set_defaults(study=server_commands.uploads)
    kills = studies.add_parser("kills", help="kill -9 of a real server at everything that it does")
    kills.set_defaults(study=server_commands.kills)
    kills.add_argument("--postgres", action="store_true", help="with the archive on a PostgreSQL server of its own")
    entries = studies.add_parser("entries", help="kill -9 of a real server while a tablet sends what it kept")
    entries.set_defaults(study=server_commands.entries)
    for each in (uploads, kills, entries):
        each.add_argument("--moments", type=int, default=100, help="number of kills (default 100)")
        each.add_argument("--first-seed", type=int, default=1, help="seed of the moments (default 1)")
    return parser


def _common(study: argparse.ArgumentParser) -> None:
    study.add_argument("--days", type=int, default=1000, help="number of days (default 1000)")
    study.add_argument("--first-seed", type=int, default=1, help="seed of the first day (default 1)")
    study.add_argument("--processes", type=int, default=2, help="days fitted at a time (default 2)")
    study.add_argument("--out", type=Path, help="JSON to write; records go beside it as .jsonl")
    study.add_argument("--fitter", choices=list(FITTERS), default="product", help="what is judged")
    study.add_argument(
        "--set", type=scenario_field, action="append", default=[], metavar="FIELD=VALUE",
        help="a field of the scenario for all days, e.g. wind=gusty, pairs=4, speeds_mps=28,8",
    )  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())
