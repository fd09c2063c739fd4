"""The shape of the house, held by tests: import order, purity, names, sizes, documents."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from controller.heat.relays import RelayGate
from controller.record.rows import EventRow

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "controller"
FILES = sorted(PACKAGE.rglob("*.py"))

BASE = ["vocabulary", "errors", "units", "durable", "bounded_read", "folders", "wire", "weather", "config"]
ORDER = [*BASE, "sense", "notices", "record", "heat", "loop", "tell", "rehearse", "commands", "cli"]
"""Each room may import itself and rooms before it; ``weather`` stands for every weather file."""

HEAT_MAY_IMPORT = {"vocabulary", "heat"}

PURE_MAY_IMPORT = {
    "__future__",
    "array",
    "bisect",
    "collections",
    "dataclasses",
    "datetime",
    "difflib",
    "enum",
    "functools",
    "itertools",
    "json",
    "math",
    "operator",
    "re",
    "statistics",
    "string",
    "tomllib",
    "types",
    "typing",
    "zoneinfo",
}
PURE_WITH_PYDANTIC = {"controller.wire", "controller.config.schema", "controller.config.parse"}

LINES_MAX = 320
FUNCTION_LINES_MAX = 60

UNIT_SUFFIXES = (
    "_c",
    "_k",
    "_s",
    "_h",
    "_w",
    "_wh",
    "_kwh",
    "_m",
    "_m2",
    "_m3",
    "_deg",
    "_frac",
    "_pct",
    "_bits",
    "_kh",
    "_mm",
    "_hz",
    "_days",
    "_hours",
    "_minutes",
    "_tenths",
    "_px",
)
BARE_NAMES = {"temp", "temperature", "time", "value", "duration", "timeout", "power", "energy"}


def module_name(path: Path) -> str:
    """Dotted name of a file of the package."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def room_of(module: str) -> str:
    """The room a module of ours lives in."""
    parts = module.split(".")
    room = parts[1] if len(parts) > 1 else ""
    return "weather" if room.startswith("weather") else room


def imports_of(path: Path) -> set[str]:
    """Every module that a file imports, wherever in the file."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


def is_pure(path: Path) -> bool:
    """A file says of itself, in its opening words, that it is pure."""
    docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return re.search(r"\bPure\b", docstring) is not None


PURE_FILES = [path for path in FILES if is_pure(path)]


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_each_room_imports_only_rooms_before_it(path: Path) -> None:
    """Import order between rooms holds, so that no lower room knows a higher one."""
    room = room_of(module_name(path))
    if not room:
        return
    assert room in ORDER, f"room {room} has no place in the order"
    allowed = set(ORDER[: ORDER.index(room) + 1])
    for imported in imports_of(path):
        if imported.startswith("controller.") and room_of(imported):
            assert room_of(imported) in allowed, f"{module_name(path)} imports {imported}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "heat").glob("*.py")), ids=module_name)
def test_heat_imports_the_vocabulary_only(path: Path) -> None:
    """The judge and the gate lean on nothing but the shared words."""
    for imported in imports_of(path):
        if imported.startswith("controller."):
            assert room_of(imported) in HEAT_MAY_IMPORT, f"{path.name} imports {imported}"


@pytest.mark.parametrize("path", PURE_FILES, ids=module_name)
def test_a_pure_file_imports_only_pure_things(path: Path) -> None:
    """No I/O, clock or chance can enter a pure file, since nothing it imports has any."""
    pure = {module_name(each) for each in PURE_FILES}
    for imported in imports_of(path):
        if imported.startswith("controller"):
            assert imported in pure or imported == "controller", f"{path.name} imports {imported}"
        elif imported.split(".")[0] == "pydantic":
            assert module_name(path) in PURE_WITH_PYDANTIC, f"{path.name} imports pydantic"
        else:
            assert imported.split(".")[0] in PURE_MAY_IMPORT, f"{path.name} imports {imported}"


def test_the_files_that_must_be_pure_say_so() -> None:
    """Deciding files cannot lose their purity by losing a word of their docstring."""
    must = [
        "vocabulary",
        "wire",
        "config.parse",
        "config.records",
        "config.schema",
        "sense.samples",
        "sense.scratchpad",
        "sense.fallback",
        "heat.interlock",
        "heat.limits",
        "heat.thermostat",
        "loop.frame",
        "loop.conditions",
        "notices.catalogue",
        "notices.life",
        "notices.words",
        "record.rows",
    ]
    pure = {module_name(each) for each in PURE_FILES}
    assert {f"controller.{name}" for name in must} <= pure


@pytest.mark.parametrize("path", PURE_FILES, ids=module_name)
def test_a_pure_file_reads_no_clock_and_opens_nothing(path: Path) -> None:
    """``open``, ``print``, ``input`` and ``now()`` do not occur, even without an import."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        assert name not in {"open", "print", "input", "now", "today", "utcnow", "exec", "eval"}, (
            f"{path.name}:{node.lineno} calls {name}"
        )


def _annotated_numbers(tree: ast.AST) -> list[tuple[str, int]]:
    """Names annotated as float: fields, parameters, variables."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            name, annotation = node.target.id, node.annotation
        elif isinstance(node, ast.arg) and node.annotation is not None:
            name, annotation = node.arg, node.annotation
        else:
            continue
        kinds = ast.unparse(annotation).split(" | ")
        if "float" in kinds and "str" not in kinds:
            found.append((name, node.lineno))
    return found


UNITLESS = {
    "per_kwh",
    "offset",
    "number",
    "share",
    "fraction",
    "seed",
    "lowest",
    "highest",
    "low",
    "high",
    "default",
    "price",
    "amount",
    "factor",
    "lapse",
    "left",
    "at",
}
"""Names of numbers that have no unit, or whose unit is the whole point of the name."""


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_numbers_carry_their_unit_in_their_name(path: Path) -> None:
    """A float's name ends in its unit; the bound, if any, follows (``air_c_max`` or ``air_max_c``)."""
    bad = []
    for name, line in _annotated_numbers(ast.parse(path.read_text(encoding="utf-8"))):
        bare = name.lower().removesuffix("_max").removesuffix("_min")
        if bare in UNITLESS or bare.strip("_") in UNITLESS:
            continue
        if not bare.endswith(UNIT_SUFFIXES) and not re.search(r"_per_\w+$|_r_m2k_w$|_w_m2$|_m_s$", bare):
            bad.append(f"{path.name}:{line}: {name}")
    assert not bad, bad


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_bare_names_are_not_used(path: Path) -> None:
    """``temp``, ``time`` or ``value`` say too little to stand alone as an argument or field."""
    bad = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        name = node.arg if isinstance(node, ast.arg) else None
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            name = node.target.id
        if name in BARE_NAMES:
            bad.append(f"{path.name}:{node.lineno}: {name}")
    assert not bad, bad


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_files_and_functions_stay_small(path: Path) -> None:
    """A file is read in one sitting, a function at one glance."""
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= LINES_MAX, f"{path.name} has {len(text.splitlines())} lines"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            assert length <= FUNCTION_LINES_MAX, f"{path.name}: {node.name} has {length} lines"


@pytest.mark.parametrize("path", FILES, ids=module_name)
def test_safety_is_not_left_to_assert(path: Path) -> None:
    """Optimised bytecode drops ``assert``, so the product has none (X24)."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Assert)]


def test_the_record_names_every_word_of_an_event_and_no_other() -> None:
    """Whoever reads the history finds in ``EventRow`` what can stand there."""
    recorded = set()
    for path in sorted((PACKAGE / "loop").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                words = [each.value for each in node.args if isinstance(each, ast.Constant)]
                if node.func.attr in {"note", "_add_event"}:
                    recorded.update(word for word in words if isinstance(word, str))
    docstring = EventRow.__doc__ or ""
    listed = docstring[docstring.index("``what`` is") :].split(";")[0]
    assert set(re.findall(r"``(\w+)``", listed)) - {"what"} == recorded


def test_the_top_level_is_as_its_owner_fixed_it() -> None:
    """Nothing stands at the top but what the design names and dot files."""
    allowed = [
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "controller",
        "webui",
        "systemd",
        "tests",
        "hardware_notes",
    ]
    stray = [
        path.name
        for path in ROOT.iterdir()
        if path.name not in allowed
        and not path.name.startswith(".")
        and not path.name.endswith(".egg-info")
        and path.name not in {"build", "dist", "mutants"}
    ]
    assert not stray


def test_no_machine_or_workplace_word_is_in_the_project() -> None:
    """Paths of the machine that built it have no business in what is shipped."""
    pattern = re.compile(r"/(?:work|root|tmp/brief)/")
    for path in [*FILES, *sorted((ROOT / "tests").rglob("*.py")), ROOT / "README.md", ROOT / "DEVELOPERS.md"]:
        if path == Path(__file__).resolve():
            continue
        assert not pattern.search(path.read_text(encoding="utf-8")), path


def test_only_the_gate_and_two_trials_can_move_a_relay() -> None:
    """INV-1: ``apply`` and ``all_off`` are the whole way to a pin; there is no ``on`` to call."""
    public = {name for name in vars(RelayGate) if not name.startswith("_")}
    assert public == {"apply", "all_off", "close"}
    movers = {
        module_name(path)
        for path in FILES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "drive"
    }
    assert movers == {
        "controller.heat.contacts",
        "controller.commands.relay_trial",
        "controller.commands.relays_off",
    }
