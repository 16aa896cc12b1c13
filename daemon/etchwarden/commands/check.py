"""`etchwarden check`: what a prepared file will do, before it does it."""

from pathlib import Path
from typing import Final

import click

from etchpath.errors import EtchpathError
from etchpath.machine import Machine
from etchpath.preflight.inspected import inspect_file
from etchpath.preflight.report import Report
from etchwarden.shared.job_summary import duration
from etchwarden.shared.progress import progress_shown
from etchwire.preflight_finding import FindingView
from etchwire.sheet import tidied_words
from etchwire.storing import fault_of_card

EXIT_CODES: Final = {"ready": 0, "refused": 1, "acknowledge": 3}
VERDICTS: Final = {
    "ready": "Ready.",
    "acknowledge": "It can run, but read this first.",
    "refused": "Refused.",
}
SECONDS_PER_MINUTE: Final = 60


@click.command(name="check")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
@click.option(
    "--machine",
    type=click.Path(path_type=Path),
    help="Description of the machine (TOML). Left out: the head that the job sheet names.",
)
@click.option("--picture", type=click.Path(path_type=Path), help="Draw the path as a PNG here.")
@click.option(
    "--index", type=click.Path(path_type=Path), help="Write the index (line, byte, time) here."
)
def command(
    *, file: Path, as_json: bool, machine: Path | None, picture: Path | None, index: Path | None
) -> None:
    """Say what FILE (G-code, or a job folder) will do, before it does it.

    Exit code 0 means ready, 1 refused, 3 that something must be read and accepted first.
    """
    try:
        described = Machine.from_toml(machine) if machine else None
        with progress_shown("Reading") as show:
            report = inspect_file(
                file, machine=described, index=index, picture=picture, on_progress=show
            )
    except OSError as error:
        if reason := fault_of_card(error):
            raise _Unusable(f"Nothing was written: {reason}.") from error
        raise _Unusable(f"{error.filename or file}: {error.strerror}.") from error
    except EtchpathError as error:
        raise _Unusable(f"{error}.") from error
    click.echo(report.to_json() if as_json else _report_text(report))
    raise SystemExit(EXIT_CODES[report.verdict])


class _Unusable(click.ClickException):
    """A file or description cannot be read at all: neither ready nor refused."""

    exit_code = 2


def _report_text(report: Report) -> str:
    """Return the report as a person reads it."""
    lines = [VERDICTS[report.verdict], "", *_figures(report)]
    for finding in report.findings:
        lines += ["", *_finding(finding)]
    return "\n".join(lines)


def _figures(report: Report) -> list[str]:
    beam = report.beam
    figures = [("Duration", _duration(report.duration_s))]
    if report.bounds_mm and report.duration_s:
        figures.append(("Head goes", _box(report.bounds_mm)))
    if report.burnt_mm:
        figures += [
            ("Etched", _box(report.burnt_mm)),
            ("Beam on", f"{_duration(report.beam_on_s)} over {report.beam_on_mm / 1000:.2f} m"),
            (
                "Speed",
                f"{beam['mean_mm_per_min']:.0f} mm/min on average, "
                f"{beam['asked_mm_per_min']:.0f} asked for; "
                f"above {beam['useful_mm_per_min']:.0f} nothing is gained",
            ),
        ]
    figures += [
        (
            "Serial line",
            f"{report.needed_bytes_per_s:.0f} of {report.carried_bytes_per_s:.0f} bytes/s at most",
        ),
        ("File", f"{report.lines} lines, {_size(report.gcode_bytes)}"),
    ]
    if report.tidied_lines:
        figures.append(("Tidied", tidied_words(report.tidied_lines)))
    return [f"{name:<12} {value}" for name, value in figures]


def _finding(finding: FindingView) -> list[str]:
    times = "" if finding.count == 1 else f", {finding.count} times"
    place = f"line {finding.line}{times}" if finding.line else "whole file"
    text = f": {finding.text}" if finding.text else ""
    lines = [f"{finding.severity.upper()} - {finding.kind} ({place}){text}", f"  {finding.reason}"]
    return [*lines, f"  {finding.fix}"] if finding.fix else lines


def _box(box: dict[str, float]) -> str:
    return (
        f"{box['left_mm']:g} to {box['right_mm']:g} mm across, "
        f"{box['bottom_mm']:g} to {box['top_mm']:g} mm up"
    )


def _size(size_bytes: int) -> str:
    for unit, unit_bytes in (("MB", 1e6), ("kB", 1e3)):
        if size_bytes >= unit_bytes:
            return f"{size_bytes / unit_bytes:.3g} {unit}"
    return f"{size_bytes} bytes"


def _duration(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds < SECONDS_PER_MINUTE else duration(seconds)
