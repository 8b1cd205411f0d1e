"""``handlead show JOB``: the pictures of a set-up, and its gear as a solid, in a window or in files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlead.viz.gear_commands.mesh import add_rolling, rolled_of

if TYPE_CHECKING:
    from handlead.machines.setups.case import Case

#: The drawn pictures, by the names of `job_pictures.PICTURES`, and what their files may end in.
PICTURES = ("train", "bracket", "swivel", "witness", "flank", "motion")

#: Those that only some jobs have: two halves, teeth that are cut again.
SOME = ("halves", "toothed")
DRAWN = (".png", ".pdf", ".svg")

#: What the gear's files may end in: a picture, films, and meshes, which need no OpenGL.
STILLS, FILMS, MESHES = (".png",), (".gif", ".mp4"), (".stl", ".vtp")

#: What of the gear can be shown.
SOLIDS = ("cut", "gear", "light-cut", "hob")


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "show",
        help="the pictures of a set-up: the gear as a solid, train, brackets, head, light cut, flanks, motion",
        description="Shows the gear that JOB's set-up cuts, with its hob, in a window or in the file that --out "
        "names. The other pictures always go into files.",
        epilog="Exit status: 0 shown, 2 the file cannot be used or a picture cannot be made, "
        "3 something broke inside the program.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML) with [setup]")
    parser.add_argument(
        "--what", choices=(*PICTURES, *SOME, "gear", "mesh", "inspection", "all"), default="gear",
        help="which picture (default: gear)",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FILE",
        help=".png, .pdf or .svg; for the gear .png, .gif, .mp4, .stl or .vtp (default: a window for the gear, "
        "else JOB-WHAT.png). With --what all each name is put before the ending",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    _add_solid(parser.add_argument_group("for --what gear"))
    report = parser.add_argument_group(
        "for --what inspection: the simulated gear as an inspection report, profile, helix, pitch and runout; .pdf, or "
        ".png or .svg, a file a page"
    )
    report.add_argument(
        "--record", metavar="FILE", type=Path, nargs="+",
        help="records of a real gear, as for inspect, to be laid over it",
    )  # fmt: skip
    report.add_argument(
        "--counted", choices=("clockwise", "counter-clockwise"),
        help="for XML records that don't say: which way the teeth are counted",
    )  # fmt: skip
    report.add_argument("--paper", choices=("A4", "Letter"), help="size of the paper (default: A4)")
    rolling = parser.add_argument_group("for --what mesh: .png, .pdf or .svg, or a film, .gif or .mp4")
    rolling.add_argument("--mate", metavar="MATE", type=Path, help="the mate's own job file (default: as JOB draws it)")
    add_rolling(rolling)
    parser.set_defaults(run=run)


def _add_solid(group: Any) -> None:
    group.add_argument(
        "--solid", choices=SOLIDS,
        help="the cut on its way with its hob, the finished gear, the light first cut, or the hob alone (.stl, .vtp); "
        "default: cut, in meshes the gear",
    )  # fmt: skip
    group.add_argument(
        "--film", choices=("generating", "progress", "turntable"),
        help=".gif and .mp4: hob, table and slide as they move (default), the whole cut, or once round the work",
    )
    group.add_argument("--at", type=_part, metavar="PART", help="part of the cut done, 0 to 1 (default: 0.5)")
    group.add_argument(
        "--hob-turns", type=_turns, metavar="N", help="hob turns in a film of the motion (default: 1)"
    )


def _part(text: str) -> float:
    value = _number(text)
    if not 0 <= value <= 1:
        raise argparse.ArgumentTypeError(f"{text} is no part of a cut; it must be from 0 to 1")
    return value


def _turns(text: str) -> float:
    value = _number(text)
    if not 0 < value <= 10_000:
        raise argparse.ArgumentTypeError(f"{text} hob turns can't be filmed; it must be above 0, up to 10000")
    return value


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} isn't a number") from None


def run(options: argparse.Namespace) -> int:
    """Show what is asked for; returns the exit status."""
    from handlead.viz.streams.outlet import complain, print_json, report_fault

    wrong = _wrong(options)
    answer: dict[str, Any] = {"job": str(options.job), "pictures": [], "errors": []}
    if wrong is not None:
        complain(wrong)
        answer["errors"] = [{"message": wrong}]
    else:
        from handlead.machines.toml.errors import FileFault, NoSetup
        from handlead.machines.toml.numbers import NumberFault

        try:
            answer["pictures"] = _show(_case(options.job), options)
        except (FileFault, NoSetup, NumberFault) as fault:
            answer["errors"] = report_fault(options.job, fault)["errors"]
    if options.json:
        print_json(answer)
    return 2 if answer["errors"] or any("error" in made for made in answer["pictures"]) else 0


def _wrong(options: argparse.Namespace) -> str | None:
    """What about the arguments can't be, in words; None where all is well."""
    what, out = options.what, options.out
    ending = None if out is None else out.suffix.lower()
    known = {"gear": STILLS + FILMS + MESHES, "mesh": DRAWN + FILMS}.get(what, DRAWN)
    if out is not None:
        if ending not in known:
            name = {"gear": "gear", "all": "picture"}.get(what, f"{what} picture")
            return f"--out {out}: the file of a {name} must end in {', '.join(known)}"
        if not out.parent.is_dir():
            return f"--out {out}: there is no folder {out.parent}"
    given = [name for name in ("solid", "film", "at", "hob_turns") if getattr(options, name) is not None]
    if given and what != "gear":
        return f"--{given[0].replace('_', '-')} goes with --what gear alone, not with --what {what}"
    of_pair = [name for name in ("mate", "centres", "blue") if getattr(options, name) is not None]
    if of_pair and what != "mesh":
        return f"--{of_pair[0]} goes with --what mesh alone, not with --what {what}"
    of_report = [name for name in ("record", "counted", "paper") if getattr(options, name) is not None]
    if of_report and what != "inspection":
        return f"--{of_report[0]} goes with --what inspection alone, not with --what {what}"
    return _wrong_solid(options, given, ending) if given else None


def _wrong_solid(options: argparse.Namespace, given: list[str], ending: str | None) -> str | None:
    if ending not in FILMS and ("film" in given or "hob_turns" in given):
        return f"--{'film' if 'film' in given else 'hob-turns'} needs --out with a name that ends in .gif or .mp4"
    if "hob_turns" in given and options.film not in (None, "generating"):
        return f"--hob-turns goes with --film generating, not with --film {options.film}"
    if options.solid == "hob" and ending not in MESHES:
        return "--solid hob needs --out with a name that ends in .stl or .vtp"
    if ending in FILMS and options.film != "turntable" and options.solid not in (None, "cut"):
        return f"--solid {options.solid} can be filmed with --film turntable alone: nothing moves in it"
    solid = options.solid or ("gear" if ending in MESHES else "cut")
    if "at" in given and solid != "cut":
        return f"--at goes with --solid cut, not with --solid {solid}"
    return None


def _case(path: Path) -> Case:
    """The set-up of the job in this file. Raises `FileFault`, or `NoSetup`."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.setups.case import Case

    return Case.of(read_job(path))


def _show(case: Case, options: argparse.Namespace) -> list[dict[str, Any]]:
    """Every picture that is asked for, one after the other; tells of each, made or not."""
    from handlead.viz.streams.outlet import complain, tell

    made = []
    for name in (*PICTURES, *_some(case), "gear") if options.what == "all" else (options.what,):
        path = _path(options, name)
        told: dict[str, Any] = {"what": name, "file": None if path is None else str(path)}
        try:
            told |= _make(case, name, path, options) or {}
        except _expected() as why:
            told["error"] = _said(why, path)
            told["file"] = None
            complain(f"{name}: {told['error']}")
        else:
            if not options.json and path is not None:
                tell(f"{name}: {', '.join(told.get('files', [str(path)]))}")
        made.append(told)
    return made


def _some(case: Case) -> tuple[str, ...]:
    """The pictures that this job has besides."""
    return tuple(name for name in SOME if getattr(case.job, name) is not None)


def _expected() -> tuple[type[Exception], ...]:
    """What may go wrong with a picture, while the others can still be made."""
    from handlead.machines.blanks.witness import NotCut
    from handlead.viz.solids.opengl import NoOpenGL

    return (NotCut, NoOpenGL, OSError, ValueError)


def _said(why: Exception, path: Path | None) -> str:
    if isinstance(why, OSError) and why.strerror:
        return f"{path}: {why.strerror}"
    return str(why)


def _path(options: argparse.Namespace, name: str) -> Path | None:
    """Where this picture goes; None for the window."""
    out: Path | None = options.out
    if options.what == "all":
        # The gear is a picture made of pixels, whatever the drawings are.
        ending = ".png" if out is None or name == "gear" else out.suffix
        stem = options.job.stem if out is None else out.stem
        return (Path() if out is None else out.parent) / f"{stem}-{name}{ending}"
    ending = "pdf" if name == "inspection" else "png"
    return out if out is not None or name == "gear" else Path(f"{options.job.stem}-{name}.{ending}")


def _make(case: Case, name: str, path: Path | None, options: argparse.Namespace) -> dict[str, Any] | None:
    """Make one picture; returns what is told of it besides, if anything."""
    if name == "gear":
        from handlead.viz.solids.output import OutputWanted, show_solid

        wanted = OutputWanted(options.solid, options.film or "generating", 0.5 if options.at is None else options.at,
                        options.hob_turns or 1.0)  # fmt: skip
        show_solid(case, path, wanted, job=options.job)
        return None
    assert path is not None
    if name == "mesh":
        _make_mesh(case, path, options)
        return None
    if name == "inspection":
        return _make_report(case, path, options)
    if name in SOME:
        from handlead.viz.pictures.blanks import SOME as OF_SOME

        _save(OF_SOME[name](case), path, f"{case.job.title}: {name}")
        return None
    from handlead.viz.pictures import pictures as job_pictures

    _save(job_pictures.PICTURES[name](case), path, f"{case.job.title}: {name}")
    return None


def _make_report(case: Case, path: Path, options: argparse.Namespace) -> dict[str, Any]:
    """The simulated gear as an inspection report, in one file or one a page; returns its values."""
    from handlead.machines.charting.simulated import GearReport
    from handlead.viz.look import look
    from handlead.viz.pictures.gear_report import write_report
    from handlead.viz.streams.outlet import complain

    report = GearReport.of(case, options.record or (), options.counted or "")
    files, missing = write_report(report, path, options.paper or "A4")
    if missing:
        complain(f"{path}: {look.misspelt(missing)}")
    return {"files": [str(one) for one in files], "report": report.as_json()}


def _make_mesh(case: Case, path: Path, options: argparse.Namespace) -> None:
    """The pair rolled, as a picture or a film."""
    from handlead.viz.look.shop import Shop
    from handlead.viz.pictures.plots import plot_mesh

    found, shop = rolled_of(options.job, options), Shop.of(case)
    if path.suffix.lower() not in FILMS:
        _save(plot_mesh(found).get_figure(root=True), path, f"{case.job.title}: mesh")
        return
    from handlead.viz.draw import mesh_film
    from handlead.viz.solids import view
    from handlead.viz.solids.output import with_progress

    write = view.write_gif if path.suffix.lower() == ".gif" else view.write_mp4
    write(with_progress(mesh_film.film(found, shop), mesh_film.FRAMES), path)


def _save(figure: Any, path: Path, title: str) -> None:
    from handlead.viz.look import look
    from handlead.viz.streams.outlet import complain

    missing = look.spell(figure)
    look.save(figure, path, title=title)
    if missing:
        complain(f"{path}: {look.misspelt(missing)}")
