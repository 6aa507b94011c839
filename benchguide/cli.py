"""The command line: one thin function a command. Everything heavy is imported inside the command that needs it.

Exit codes: 0 fine, 1 a check found something, 2 bad input or wrong usage.
"""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from benchguide import __version__

if TYPE_CHECKING:
    from benchguide.procedure.device import DeviceMap

DATA = click.option(
    "--data",
    type=click.Path(file_okay=False, path_type=Path),
    help="Data folder (else BENCHGUIDE_DATA, else the usual place).",
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
OUT_FILE = click.option(
    "-o",
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File to write; else standard output.",
)
PAPERS = click.Choice(["A4", "A5", "Letter"], case_sensitive=False)
MARKED = click.option(
    "-o",
    "--out",
    "marked",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the picture with what was found drawn in (.jpg or .png).",
)


class Pixels(click.ParamType):
    """x,y,width,height in whole pixels."""

    name = "x,y,width,height"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[int, ...]:
        try:
            x, y, width, height = (int(part) for part in str(value).split(","))
        except ValueError:
            self.fail(
                f"{value!r} is no place; give x,y,width,height in whole pixels, as 100,80,300,200.",
                param,
                ctx,
            )
        return x, y, width, height


PIXELS = Pixels()


class BenchGroup(click.Group):
    """Turns foreseen failures of any command into one sentence and exit code 2; no traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except Exception as error:
            if not _foreseen(error):
                raise
            raise Stopped(_told(error)) from error


class Stopped(click.ClickException):
    """A foreseen failure: printed as it stands, exit code 2."""

    exit_code = 2

    def show(self, file: Any = None) -> None:
        click.echo(self.message, err=True)


def _foreseen(error: Exception) -> bool:
    from benchguide.procedure.problems import BadFile
    from benchguide.review.problems import ReviewProblem
    from benchguide.speech.phonemes import VoiceMissing
    from benchguide.store.problems import StoreProblem

    # UnknownEvent and every plain refusal of a value are ValueErrors
    return isinstance(error, (BadFile, ReviewProblem, StoreProblem, VoiceMissing, ValueError, OSError))


def _told(error: Exception) -> str:
    from benchguide.procedure.problems import BadFile

    if isinstance(error, BadFile):
        return "\n".join(str(problem) for problem in error.problems)
    if isinstance(error, OSError) and error.filename:
        return f"{error.filename}: {error.strerror}. Look at the name and at the rights of the folder."
    return str(error)


@click.group(cls=BenchGroup, invoke_without_command=True)
@DATA
@click.option(
    "--camera",
    help="Bench camera: simulated, camera:NAME, http://..., rtsp://..., video:FILE, stills:FOLDER.",
)
@click.version_option(__version__, prog_name="benchguide")
@click.pass_context
def main(ctx: click.Context, data: Path | None, camera: str | None) -> None:
    """Guided procedures at the electronics bench: step timer, photo log, and a ledger of what is out."""
    if ctx.invoked_subcommand is None:
        from benchguide.window.app import Options, run_window

        _check_camera(camera)
        ctx.exit(run_window(Options(data=data, camera=camera)))


def _check_camera(camera: str | None) -> None:
    """Raises ValueError with one sentence for an address that is none."""
    if camera is not None:
        from benchguide.camera.source import parse_source

        parse_source(camera)


@main.command()
@click.argument("procedure", type=click.Path(path_type=Path))
@click.option("--job", default="", help="Job number.")
@click.option("--person", default="", help="Who works.")
@DATA
@click.option("--camera", help="Bench camera, as for the window.")
@click.option("--commands", type=click.Choice(["-"]), help="Take commands, one a line, from standard input.")
@click.pass_context
def run(
    ctx: click.Context,
    procedure: Path,
    job: str,
    person: str,
    data: Path | None,
    camera: str | None,
    commands: str | None,
) -> None:
    """Open the window on one procedure file."""
    from benchguide.procedure.problems import BadFile
    from benchguide.procedure.shelf import Shelf
    from benchguide.window.app import Options, run_window

    entry = Shelf((procedure.parent,)).procedure_at(procedure)
    if not entry.usable:
        raise BadFile(entry.problems)
    _check_camera(camera)
    options = Options(
        data=data, camera=camera, procedure=procedure, job=job, person=person, commands=commands is not None
    )
    ctx.exit(run_window(options))


@main.command()
@click.option("--unattended", is_flag=True, help="Play the whole job by itself, without a screen.")
@click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), help="Folder for database, photos and report."
)
@click.option("--theme", type=click.Choice(["dark", "light"]), help="Theme of the window.")
@click.pass_context
def demo(ctx: click.Context, unattended: bool, out: Path | None, theme: str | None) -> None:
    """Open the window on the demo job with a simulated bench camera."""
    from benchguide.window import demo as demo_room

    if unattended:
        if out is None:
            raise click.UsageError("--unattended needs --out DIR, a folder for database, photos and report.")
        ctx.exit(demo_room.play_unattended(out, theme or "dark"))
    ctx.exit(demo_room.open_demo(out, theme))


@main.command()
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--rules", is_flag=True, help="Print the table of rules instead.")
@AS_JSON
@click.pass_context
def check(ctx: click.Context, files: tuple[Path, ...], rules: bool, as_json: bool) -> None:
    """Check part maps and procedures before anyone follows them.

    Folders are searched; without files, the bundled ones are checked.
    """
    from benchguide.procedure.check_files import check_files, rules_table

    if rules:
        click.echo(rules_table(as_json=as_json))
        return
    from benchguide.bundled import procedures_folder

    checked = check_files(files or (procedures_folder(),))
    if as_json:
        click.echo(
            json.dumps([asdict(problem) for problem in checked.problems], indent=2, ensure_ascii=False)
        )
    else:
        for problem in checked.problems:
            click.echo(f"{problem.severity}: {problem}")
        click.echo(f"{len(checked.problems)} findings." if checked.problems else "No findings.")
    ctx.exit(2 if checked.unreadable else 1 if checked.worst in ("error", "warning") else 0)


@main.command()
@click.argument("device", type=click.Path(path_type=Path))
@click.option("--to", "target", required=True, help="Part to reach, by its short name.")
@click.option("--keep", multiple=True, help="Part that must stay fitted; may be given several times.")
@AS_JSON
@click.pass_context
def plan(ctx: click.Context, device: Path, target: str, keep: tuple[str, ...], as_json: bool) -> None:
    """Show the smallest way in to a part. DEVICE is a part map file, or the short name of a bundled one."""
    from benchguide.procedure.planner import plan_way_in
    from benchguide.procedure.planner_text import plan_doc, plan_text
    from benchguide.procedure.planner_why import CannotReach
    from benchguide.procedure.problems import did_you_mean

    part_map = _device(device)
    for name in (target, *keep):
        if name not in part_map.by_id:
            remedy = did_you_mean(name, part_map.by_id, f"Its names are in the part map of {part_map.id}.")
            raise ValueError(f"{part_map.name} has no part {name!r}. {remedy}")
    try:
        way_in = plan_way_in(part_map, target, keep)
    except CannotReach as error:
        click.echo(str(error), err=True)
        ctx.exit(1)
    click.echo(json.dumps(plan_doc(way_in), indent=2, ensure_ascii=False) if as_json else plan_text(way_in))


def _device(name: Path) -> DeviceMap:
    """The part map in a file, or the bundled one with this short name."""
    from benchguide.bundled import procedures_folder
    from benchguide.procedure.loader import load_device
    from benchguide.procedure.shelf import Shelf

    bundled = None if name.suffix else Shelf((procedures_folder(),)).device(str(name))
    return bundled.model if bundled else load_device(name).model


@main.command("write-out")
@click.argument("procedure", type=click.Path(path_type=Path))
@OUT_FILE
def write_out(procedure: Path, out: Path | None) -> None:
    """Turn a procedure that names its target into one with every step written out, to edit."""
    from benchguide.procedure.write_out import write_out as written

    text = written(procedure, out)
    click.echo(str(out) if out else text, nl=bool(out))


@main.command("photo-check")
@click.argument("photo", type=click.Path(path_type=Path))
@click.option("--place", type=PIXELS, help="Where the part is in the photo: x,y,width,height in pixels.")
@click.option(
    "--before", type=click.Path(path_type=Path), help="An earlier photo of the view, to tell new glare."
)
@MARKED
@AS_JSON
@click.pass_context
def photo_check(
    ctx: click.Context,
    photo: Path,
    place: tuple[int, int, int, int] | None,
    before: Path | None,
    marked: Path | None,
    as_json: bool,
) -> None:
    """Say whether a photo is good: focus, shake, light, glare. Exit code 1 for a poor one."""
    from benchguide.camera.photo_check_command import photo_check as checked

    text, good = checked(photo, place=place, before=before, marked=marked, as_json=as_json)
    click.echo(text)
    ctx.exit(0 if good else 1)


@main.command()
@click.argument("as_found", type=click.Path(path_type=Path))
@click.argument("as_left", type=click.Path(path_type=Path))
@click.option("--px-per-mm", type=float, help="Pixels a millimetre in the as-found photo, where it is known.")
@click.option(
    "--place",
    "places",
    multiple=True,
    metavar="KIND,X,Y,SIZE",
    help="A place to judge, in pixels of the as-found photo: screw,410,220,36. May be given several times.",
)
@MARKED
@AS_JSON
@click.pass_context
def compare(
    ctx: click.Context,
    as_found: Path,
    as_left: Path,
    px_per_mm: float | None,
    places: tuple[str, ...],
    marked: Path | None,
    as_json: bool,
) -> None:
    """Show where an as-left photo differs from the as-found one: candidates, never a proof. Exit code 1 for any."""
    from benchguide.camera.compare_command import run_compare

    answer = run_compare(
        as_found, as_left, as_json=as_json, marked=marked, px_per_mm=px_per_mm, places=places
    )
    click.echo(answer.text)
    ctx.exit(answer.code)


@main.group()
def mat() -> None:
    """The parts mat: print it, read a photo of it."""


@mat.command("print")
@click.argument("procedure", type=click.Path(path_type=Path))
@click.option("--paper", type=PAPERS, help="Paper; else the smallest that holds the cells.")
@OUT_FILE
def mat_print(procedure: Path, paper: str | None, out: Path | None) -> None:
    """Write the parts mat of a procedure as a PDF page at 1:1."""
    from benchguide.window.print_command import print_mat_for

    click.echo(print_mat_for(procedure, paper, out))


@mat.command("read")
@click.argument("photo", type=click.Path(path_type=Path))
@click.option("--paper", type=PAPERS, help="The mat that should lie there.")
@click.option(
    "--bar", "bar_mm", type=float, help="Length of the printed scale bar as a ruler shows it, in mm."
)
@MARKED
@AS_JSON
def mat_read(
    photo: Path, paper: str | None, bar_mm: float | None, marked: Path | None, as_json: bool
) -> None:
    """Count what lies in each cell of a photographed mat, and measure the screws."""
    from benchguide.camera.mat_command import read_photo

    click.echo(read_photo(photo, as_json=as_json, out=marked, paper=paper, bar_mm=bar_mm))


@main.group("map")
def part_map() -> None:
    """The part map of a device: print it as a placemat for its screws."""


@part_map.command("print")
@click.argument("device", type=click.Path(path_type=Path))
@click.option("--paper", type=PAPERS, default="A4", show_default=True)
@OUT_FILE
def map_print(device: Path, paper: str, out: Path | None) -> None:
    """Write the device as drawn from its part map as PDF pages at 1:1."""
    from benchguide.window.print_command import print_map_for

    click.echo(print_map_for(device, paper, out))


@main.command()
@click.argument("audio", required=False, type=click.Path(path_type=Path))
@click.option("--level", type=float, help="The talker's level in dBFS, as the microphone check gives it.")
@click.option("--counts", is_flag=True, help="Numbers are expected ('three screws').")
@click.option(
    "--further", is_flag=True, help="The rarer phrases too ('skip forward'); --live always has them."
)
@click.option("--strict", is_flag=True, help="The limits for a room with talk in it.")
@click.option("--rate", "words", help="Instead: how near two words sound to the phrases of the table.")
@click.option("--phrases", type=click.Path(path_type=Path), help="Another table of phrases.")
@click.option("--live", is_flag=True, help="Instead: show what the microphone gives, for setting up.")
@click.option("--seconds", type=float, help="End --live after this time.")
@click.option("--microphone", help="Which microphone --live listens to, by name.")
@AS_JSON
@click.pass_context
def listen(
    ctx: click.Context,
    audio: Path | None,
    level: float | None,
    counts: bool,
    further: bool,
    strict: bool,
    words: str | None,
    phrases: Path | None,
    live: bool,
    seconds: float | None,
    microphone: str | None,
    as_json: bool,
) -> None:
    """Recognise the spoken commands of a recording."""
    from benchguide.speech import listen_command as body

    if [audio is not None, words is not None, live].count(True) != 1:
        raise click.UsageError("Name a recording, or give --live, or --rate with the words of a phrase.")
    if live:
        from benchguide.speech.listen_live import listen_live

        shown = listen_live(
            click.echo,
            seconds=seconds,
            level=level,
            counts=counts,
            strict=strict,
            phrases=phrases,
            microphone=microphone or "",
            as_json=as_json,
        )
        ctx.exit(shown)
    if words is not None:
        found = body.rate_phrase(words, phrases)
        if as_json:
            click.echo(json.dumps([{**asdict(one), "too_near": one.too_near} for one in found], indent=2))
            return
        for one in found:
            click.echo(f"{one.distance:5.2f}  {one.words:<24} {'too near' if one.too_near else ''}".rstrip())
        return
    assert audio is not None
    heard = body.listen(audio, level=level, counts=counts, further=further, strict=strict, phrases=phrases)
    if heard.fault:
        click.echo(heard.fault, err=True)
    click.echo(json.dumps(heard.as_json(), indent=2) if as_json else "\n".join(heard.lines()))


@main.command()
@click.argument("kind", type=click.Choice(["device", "procedure"]))
@OUT_FILE
def schema(kind: Literal["device", "procedure"], out: Path | None) -> None:
    """Write the JSON Schema of a file kind, for editors."""
    from benchguide.procedure.schema import json_schema

    text = json.dumps(json_schema(kind), indent=2, ensure_ascii=False) + "\n"
    if out:
        out.write_text(text, encoding="utf-8")
    else:
        click.echo(text, nl=False)


@main.command()
@DATA
@AS_JSON
def records(data: Path | None, as_json: bool) -> None:
    """List the sessions of a data folder."""
    from benchguide.store.log import EventLog
    from benchguide.store.places import data_folder

    with EventLog.open(data_folder(data), mode="read") as log:
        rows = log.sessions()
        notices = log.notices
    for notice in notices:
        click.echo(notice, err=True)
    if as_json:
        click.echo(json.dumps([row._asdict() for row in rows], indent=2, ensure_ascii=False, default=str))
        return
    for row in rows:
        click.echo(
            f"{row.session_id}  {row.started}  {row.state:9}  {row.job}  {row.procedure}  ({row.person})"
        )
    if not rows:
        click.echo("No sessions yet.")


@main.command()
@click.argument("session")
@click.option(
    "-o", "--out", required=True, type=click.Path(file_okay=False, path_type=Path), help="Folder to write to."
)
@click.option(
    "--kind", "kinds", multiple=True, type=click.Choice(["page", "table", "pictures"]), help="Default: all."
)
@DATA
def report(session: str, out: Path, kinds: tuple[str, ...], data: Path | None) -> None:
    """Export one session: HTML page, CSV table, folder of pictures. SESSION may be the first letters of its name."""
    from benchguide.review.command import export_session

    for path in export_session(data, session, out, kinds or ("page", "table", "pictures")):
        click.echo(str(path))


@main.command()
@DATA
@AS_JSON
@click.pass_context
def verify(ctx: click.Context, data: Path | None, as_json: bool) -> None:
    """Recompute every chain and photo hash; name the first event or file that differs."""
    from benchguide.store.chain import verify as verify_folder
    from benchguide.store.places import data_folder

    result = verify_folder(data_folder(data))
    click.echo(
        json.dumps(result.to_json(), indent=2, ensure_ascii=False) if as_json else "\n".join(result.lines())
    )
    ctx.exit(0 if result.ok else 1)


@main.command()
@DATA
@AS_JSON
@click.pass_context
def preflight(ctx: click.Context, data: Path | None, as_json: bool) -> None:
    """Say what this machine has and lacks, with the one command that mends each."""
    from benchguide.preflight import any_missing, checks
    from benchguide.store.places import data_folder

    findings = checks(data_folder(data))
    if as_json:
        click.echo(json.dumps([finding.as_dict() for finding in findings], indent=2, ensure_ascii=False))
    else:
        for finding in findings:
            mend = f"\n           {finding.mend}" if finding.mend and finding.state != "fine" else ""
            click.echo(f"{finding.state:9}  {finding.name}: {finding.sentence}{mend}")
    ctx.exit(1 if any_missing(findings) else 0)


if __name__ == "__main__":
    sys.exit(main())
