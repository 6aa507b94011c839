"""The direction of imports between the rooms, and who may use which library (DEVELOPERS.md has the drawing).

window -> (review, speech, camera, store, session, procedure); review -> store, session, procedure;
store -> session -> procedure; camera and speech know none of the others. Imports are read from the source,
not executed; indirect ones count, and so do those inside functions and for type checking.
"""

import ast
import subprocess
import sys
from pathlib import Path

import pytest
from pytest_archon import archrule

PACKAGE = Path(__file__).resolve().parent.parent / "benchguide"

MAY_KNOW = {
    "procedure": set(),
    "session": {"procedure"},
    "store": {"session", "procedure"},
    "camera": set(),
    "speech": set(),
    "review": {"store", "session", "procedure"},
    "window": {"review", "speech", "camera", "store", "session", "procedure"},
}
PURE = ("procedure", "session")
FOLDERS_THAT_ARE_NO_ROOMS = {"fonts", "_bundled", "__pycache__"}

# Library, and the only modules that may import it.
ONLY_IN = [
    ("cv2", ["benchguide.camera.opencv"]),
    ("PySide6", ["benchguide.window", "benchguide.speech"]),
    ("shiboken6", ["benchguide.window"]),
    ("sqlite3", ["benchguide.store"]),
    ("sqlite_utils", ["benchguide.store"]),
    # No network unless the person points the program at a camera's address.
    ("socket", ["benchguide.camera"]),
    ("http", ["benchguide.camera"]),
    ("urllib.request", ["benchguide.camera"]),
]

needs_cli = pytest.mark.skipif(not (PACKAGE / "cli.py").exists(), reason="benchguide/cli.py is not there yet")


def _need(room: str) -> None:
    """Skip while the house is being built; once window and command line stand, every room must."""
    built = (PACKAGE / "window").is_dir() and (PACKAGE / "cli.py").exists()
    if not built and not (PACKAGE / room / "__init__.py").exists():
        pytest.skip(f"benchguide/{room} is not there yet")


def _and_inside(*modules: str) -> list[str]:
    return [pattern for module in modules for pattern in (module, f"{module}.*")]


@pytest.mark.parametrize("room", MAY_KNOW)
def test_a_room_knows_only_the_rooms_below_it(room: str) -> None:
    _need(room)
    others = set(MAY_KNOW) - MAY_KNOW[room] - {room}
    forbidden = _and_inside("benchguide.cli", *(f"benchguide.{other}" for other in sorted(others)))
    rule = archrule(f"{room} knows only {sorted(MAY_KNOW[room]) or 'itself'}")
    rule.match(*_and_inside(f"benchguide.{room}")).should_not_import(*forbidden).check("benchguide")


def test_every_folder_of_the_package_is_a_known_room() -> None:
    folders = {each.name for each in PACKAGE.iterdir() if each.is_dir() and any(each.glob("*.py"))}
    assert folders - FOLDERS_THAT_ARE_NO_ROOMS <= set(MAY_KNOW)


@pytest.mark.parametrize("room", PURE)
def test_a_pure_room_uses_no_qt_no_database_no_pictures(room: str) -> None:
    _need(room)
    libraries = (
        "PySide6",
        "shiboken6",
        "sqlite3",
        "sqlite_utils",
        "cv2",
        "numpy",
        "PIL",
        "threading",
        "asyncio",
    )
    rule = archrule(f"{room} is pure").match(*_and_inside(f"benchguide.{room}"))
    rule.should_not_import(*_and_inside(*libraries)).check("benchguide")


@pytest.mark.parametrize(("library", "modules"), ONLY_IN, ids=[library for library, _ in ONLY_IN])
def test_a_library_is_imported_in_its_own_room_only(library: str, modules: list[str]) -> None:
    rule = archrule(f"{library} only in {modules}").match("benchguide", "benchguide.*")
    rule = rule.exclude(*_and_inside(*modules))
    rule.should_not_import(*_and_inside(library)).check("benchguide", only_direct_imports=True)


@pytest.mark.parametrize("room", ["procedure", "session", "store", "camera", "review"])
def test_a_room_without_qt_does_not_reach_it_by_a_detour(room: str) -> None:
    _need(room)
    rule = archrule(f"{room} has no Qt").match(*_and_inside(f"benchguide.{room}"))
    rule.should_not_import(*_and_inside("PySide6", "shiboken6")).check("benchguide")


def _reads_a_clock(tree: ast.AST) -> list[int]:
    """Return the lines that import the time module or ask datetime or date for the present moment."""
    lines = []
    for node in ast.walk(tree):
        imports = [name.name for name in node.names] if isinstance(node, ast.Import) else []
        if "time" in imports or (isinstance(node, ast.ImportFrom) and node.module == "time"):
            lines.append(node.lineno)
        elif isinstance(node, ast.Attribute) and node.attr in ("now", "utcnow", "today"):
            owner = (
                node.value.attr if isinstance(node.value, ast.Attribute) else getattr(node.value, "id", "")
            )
            if owner in ("datetime", "date"):
                lines.append(node.lineno)
    return lines


@pytest.mark.parametrize("room", PURE)
def test_a_pure_room_has_no_clock_of_its_own(room: str) -> None:
    _need(room)
    found = {
        f"{path.relative_to(PACKAGE)}:{line}"
        for path in (PACKAGE / room).rglob("*.py")
        for line in _reads_a_clock(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert found == set()


@pytest.mark.parametrize(
    "source",
    [
        "import time",
        "from time import monotonic",
        "datetime.now(UTC)",
        "datetime.datetime.utcnow()",
        "date.today()",
    ],
)
def test_a_clock_would_be_seen(source: str) -> None:
    assert _reads_a_clock(ast.parse(source)) == [1]


@needs_cli
def test_the_command_line_imports_rooms_and_heavy_libraries_lazily() -> None:
    heavy = ("PySide6", "cv2", "numpy", "sqlite_utils", "PIL", "jinja2", "pydantic", "ruamel.yaml")
    rooms = tuple(f"benchguide.{room}" for room in MAY_KNOW)
    rule = (
        archrule("cli imports lazily").match("benchguide.cli").should_not_import(*_and_inside(*heavy, *rooms))
    )
    rule.check("benchguide", only_toplevel_imports=True)


@needs_cli
def test_loading_the_command_line_loads_nothing_heavy() -> None:
    code = (
        "import sys, benchguide.cli\n"
        "heavy = {'PySide6', 'cv2', 'numpy', 'sqlite_utils', 'PIL', 'pydantic', 'ruamel.yaml'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=PACKAGE.parent, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
