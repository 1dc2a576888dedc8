"""`python -m tests.fuzz --seconds 3600 [TARGET...]`: all targets, one after the other, and a report of what was found.

Run it from the top of the repository. It exits with 1 where there is a finding that `found/open.txt` does not name.
"""

from __future__ import annotations

import argparse
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import NamedTuple

from tests.fuzz import campaign
from tests.fuzz.findings import Finding
from tests.fuzz.minimise import minimised
from tests.fuzz.target import Target, open_findings

MINIMISE_SECONDS = 60.0


class _Told(NamedTuple):
    target: Target
    finding: Finding
    is_open: bool


def main() -> int:
    """Share the time between the targets and their faces, and tell what came of it."""
    options = _parser().parse_args()
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))  # so that workers are ended too
    from tests.fuzz.targets import TARGETS

    unknown = [name for name in options.targets if name not in TARGETS]
    if unknown:
        _say(f"there is no target {', '.join(unknown)}; there are {', '.join(TARGETS)}")
        return 2
    guided = campaign.can_be_guided() and not options.unguided
    _say("guided by coverage (atheris)" if guided else "by chance and grammars: atheris is not used, or not there")
    jobs = []
    for target in [TARGETS[name] for name in options.targets or TARGETS]:
        if lacking := campaign.missing(target):
            _say(f"{target.name}: not run, {', '.join(lacking)} is not installed")
            continue
        jobs += [(target, face) for face in ("bytes", "grammar") if face == "bytes" or target.grammar is not None]
    told = []
    inputs, start = 0, time.monotonic()
    for number, (target, face) in enumerate(jobs):
        left = options.seconds - (time.monotonic() - start)
        plan = campaign.Plan(
            face, options.seed, seconds=max(left / (len(jobs) - number), 1.0), guided=guided and target.guided
        )
        folder = options.out / "work" / f"{target.name}-{face}"
        shutil.rmtree(folder, ignore_errors=True)
        outcome = campaign.run(target, plan, folder)
        inputs += outcome.inputs
        told_of = f"{outcome.inputs} inputs in {outcome.seconds:.0f} s ({outcome.processor:.0f} s of processor time)"
        _say(f"{target.name:10} {face:8} {told_of}, {len(outcome.findings)} findings")
        told += [_told(target, finding) for finding in outcome.findings]
    _say(f"{inputs} inputs in {time.monotonic() - start:.0f} s")
    return _report(told, options.out)


def _told(target: Target, finding: Finding) -> _Told:
    causes = {cause for (name, _), cause in open_findings().items() if name == target.name}
    return _Told(target, finding, finding.cause in causes)


def _report(told: list[_Told], out: Path) -> int:
    """Write each finding, made smaller, to a file, and say where."""
    for target, finding, is_open in told:
        small = finding if is_open else minimised(target, finding, MINIMISE_SECONDS)
        path = out / target.name / finding.name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(small.data)
        path.with_suffix(".txt").write_text(f"{finding.cause}\n\n{finding.detail}\n", "utf-8")
        known = "known" if is_open else "NEW"
        _say(f"{known}: {target.name}: {finding.cause} ({finding.times} times, {len(small.data)} bytes) {path}")
    fresh = sum(not one.is_open for one in told)
    _say(f"{len(told)} findings, {fresh} of them new")
    return 1 if fresh else 0


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("targets", metavar="TARGET", nargs="*", help="which ones (default: all)")
    parser.add_argument("--seconds", type=float, default=60.0, help="for all of them together (default: 60)")
    parser.add_argument("--seed", type=int, default=int(time.time()), help="another one, other inputs")
    parser.add_argument("--out", type=Path, default=Path("fuzz-findings"), help="where findings are written")
    parser.add_argument("--unguided", action="store_true", help="do not use atheris though it is there")
    return parser


if __name__ == "__main__":
    sys.exit(main())
