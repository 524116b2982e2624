"""The stubs are what the module is, and the answers are what the schema says."""

import json
import pathlib
import subprocess
import sys
import typing

import pytest
from conftest import MILL, ROOT

import holdover
from holdover import answers

SCHEMAS = ROOT / "crates/holdover-desk/schema"


def run(*words: str, cwd: pathlib.Path) -> None:
    ran = subprocess.run([sys.executable, "-m", *words], cwd=cwd, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_stubs(tmp_path: pathlib.Path):
    # How a Literal of a module looks while it runs is not how it is written.
    (tmp_path / "allowed").write_text("holdover.answers.Reading\nholdover.answers.Verdict\n")
    run("mypy.stubtest", "holdover", "--allowlist", "allowed", cwd=tmp_path)


def test_a_program_is_checked(tmp_path: pathlib.Path):
    (tmp_path / "program.py").write_text(
        """
import pathlib
import numpy as np
import holdover

layout: holdover.Layout = holdover.Table.builtin()["std26"]
columns = layout.decode(np.zeros(3, np.uint32), align="left")
layout.decode(["1"], reading="reversed")
holds: np.ndarray = columns.holds
for answer in holdover.read("1010", pathlib.Path("a.csv"), site=b"", table=["built-in", layout.to_toml()]):
    verdict: str = answer["verdict"]
    for candidate in answer.get("candidates", []):
        likely: float = candidate["probability"]
learnt = holdover.learn(b"")
table = learnt.table
if table is not None:
    plan = holdover.plan(pathlib.Path("site.toml"), table=table)
    start: int = plan.plan["slots"][0]["card"]["start"]
    raw: bytes = holdover.prove(plan=plan, roster="").json
layout.decode(["1"], reading="upside-down")  # type: ignore[arg-type]
holdover.read(3)  # type: ignore[arg-type]
""".lstrip()
    )
    # An ignored mistake that is none would be one.
    run("mypy", "--strict", "program.py", cwd=tmp_path)


def keys(schema: dict, name: str | None = None) -> set[str]:
    """All keys that an object of a schema may have."""
    part = schema["$defs"][name] if name else schema
    all_of = [part, *part.get("anyOf", []), *part.get("oneOf", []), *part.get("allOf", [])]
    found: set[str] = set()
    for each in all_of:
        found |= each.get("properties", {}).keys()
        if "$ref" in each:
            found |= keys(schema, each["$ref"].rsplit("/", 1)[1])
    return found


@pytest.mark.parametrize(
    ("file", "name", "answer"),
    [
        ("read", None, answers.Read),
        ("read", "Candidate", answers.Candidate),
        ("read", "Held", answers.Held),
        ("read", "Evidence", answers.Evidence),
        ("learn", None, answers.Learned),
        ("learn", "LearnedField", answers.LearnedField),
        ("learn", "LearnedCheck", answers.LearnedCheck),
        ("learn", "LeftOut", answers.LeftOut),
        ("plan", None, answers.Plan),
        ("plan", "Slot", answers.Slot),
        ("plan", "Run", answers.Run),
        ("plan", "Lost", answers.Lost),
        ("plan", "Conflict", answers.Conflict),
        ("plan", "ToRead", answers.ToRead),
        ("plan", "Exposure", answers.Exposure),
        ("plan", "Objective", answers.Objective),
        ("prove", None, answers.Proof),
    ],
    ids=str,
)
def test_answers_are_the_schema(file: str, name: str | None, answer: type):
    schema = json.loads((SCHEMAS / f"{file}.json").read_text())
    assert set(typing.get_type_hints(answer)) == keys(schema, name)


def test_the_words_of_the_schema():
    schema = json.loads((SCHEMAS / "read.json").read_text())

    def words(name: str) -> set[str]:
        part = schema["$defs"][name]
        return set(part.get("enum", [])) | {each["const"] for each in part.get("oneOf", [])}

    assert words("Reading") == set(typing.get_args(answers.Reading))
    assert words("Verdict") | words("InvalidWord") == set(typing.get_args(answers.Verdict))
    assert holdover.read(MILL / "first-card.txt")[0]["verdict"] in words("Verdict")


def test_everything_says_what_it_is():
    for name in holdover.__all__:
        thing = getattr(holdover, name)
        if callable(thing):
            assert thing.__doc__, name
            for member, value in vars(thing).items() if isinstance(thing, type) else ():
                if not member.startswith("_"):
                    assert value.__doc__, f"{name}.{member}"
