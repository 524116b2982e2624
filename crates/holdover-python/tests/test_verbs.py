"""The commands as functions."""

import json
import multiprocessing
import pathlib

import pandas
import polars
import pyarrow
import pytest
from conftest import FIXTURES, MILL

import holdover
from holdover import Desk, Refused

CARD = "10100000100010000111000011"


def test_read_one_card():
    (answer,) = holdover.read(CARD)
    assert answer["verdict"] == "identified"
    best = answer["candidates"][0]
    assert (best["layout"], best["fields"]) == ("std26", {"site": 65, "card": 4321})
    with pytest.raises(Refused, match="pathlib.Path"):
        holdover.read(str(MILL / "first-card.txt"))


def test_every_way_to_give_a_survey():
    path = MILL / "survey.csv"
    expected = holdover.read(path, site=MILL / "mill.toml")
    assert len(expected) == 28 and expected.code == 1
    assert [each["source"] for each in expected] == [str(path)] * 28
    as_text = pandas.read_csv(path, dtype=str)
    for survey in (
        path.read_text(),
        path.read_bytes(),
        bytearray(path.read_bytes()),
        memoryview(path.read_bytes()),
        as_text,
        polars.read_csv(path, infer_schema=False),
        pyarrow.table(as_text),
    ):
        answers = holdover.read(survey, site=(MILL / "mill.toml").read_text())
        assert [each["source"] for each in answers] == ["-"] * 28, type(survey)
        without = [{**each, "source": str(path)} for each in answers]
        assert without == list(expected), type(survey)
    bits = holdover.read([CARD, CARD[::-1]])
    assert [each["line"] for each in bits] == [1, 2]
    assert len(holdover.read(as_text["bits"])) == 28
    several = holdover.read(path, MILL / "first-card.txt", CARD)
    assert len(several) == 30 and several[-1]["source"] == "input-3"


def test_one_column_of_captures_is_given_as_it_is():
    two = [CARD, CARD[::-1]]
    for column in (
        pandas.Series(two),
        pandas.Series(two, name="swipes"),
        pandas.DataFrame(two),
        polars.Series(two),
        polars.Series("swipes", two),
        pyarrow.array(two),
        pyarrow.chunked_array([[two[0]], [two[1]]]),
    ):
        answers = holdover.read(column)
        assert [each["bits"] for each in answers] == two, type(column)


def test_captures_as_numbers_are_refused_with_the_mend():
    numbers = [1010, 10]
    for frame in (
        pandas.DataFrame({"bits": numbers}),
        pandas.DataFrame({"Raw_Bits": [0.5, None]}),
        pandas.Series(numbers),
        pandas.Series([int(CARD)]),
        polars.DataFrame({"bits": numbers}),
        polars.Series(numbers),
        pyarrow.table({"bits": numbers}),
        pyarrow.array(numbers),
    ):
        with pytest.raises(holdover.Refused, match="dtype=str"):
            holdover.read(frame)
    # Numbers of other columns are no harm.
    assert len(holdover.read(pandas.DataFrame({"bits": [CARD], "card": [4321]}))) == 1


def test_a_line_that_is_none_is_an_answer():
    answers = holdover.read(CARD + "\nnothing\n")
    assert answers.code == 2
    assert [each["verdict"] for each in answers] == ["identified", "invalid"]
    assert "line" in answers[1] and answers[1]["error"]


def test_the_takeover(tmp_path: pathlib.Path):
    drawer, site, roster = MILL / "drawer.csv", MILL / "mill.toml", MILL / "reissued.csv"
    learnt = holdover.learn(drawer)
    assert [kind["length"] for kind in learnt] == [30]
    assert learnt[0]["misread"] and learnt.table is not None
    assert learnt.table.layouts[0].id == "found30"
    tables = ["built-in", learnt.table]
    plan = holdover.plan(
        site, roster, table=tables, worksheet=True, enrolment=True, cutover=True, html=True
    )
    assert plan.code == 0 and len(plan.plan["slots"]) == 4
    assert set(plan.files) == {"worksheet.txt", "enrolment.csv", "cutover.txt", "page.html"}
    proofs = holdover.prove(plan=plan, roster=roster)
    assert proofs.code == 0 and all(proof["holds"] for proof in proofs)
    again = holdover.plan(site, pandas.read_csv(roster, dtype=str), table=tables, against=plan)
    assert again["slots"] == plan["slots"] and "changes" in again
    # Written and read as a file, it is the same plan.
    (tmp_path / "plan.json").write_bytes(plan.json)
    assert holdover.prove(plan=tmp_path / "plan.json", roster=roster) == proofs
    workbook = holdover.plan(site, MILL / "roster.xlsx", table="built-in")
    assert workbook["kept"]
    cases = holdover.prove(cases=f"bits,layout,site,card\n{CARD},std26,65,4321\n{CARD},std26,65,1\n")
    assert [case["holds"] for case in cases] == [True, False] and cases.code == 1


def test_composing():
    made = holdover.compose("std26", site=65, card="4321-4323")
    assert [each["bits"] for each in made][0] == CARD
    assert [each["card"] for each in made] == [4321, 4322, 4323]
    assert holdover.compose("std26", {"site": 65, "card": 4321})[0]["bits"] == CARD
    own = holdover.Table.from_file(MILL / "found.toml")
    assert holdover.compose("found30", table=own, site=19, card=1)[0]["layout"] == "found30"
    assert len(holdover.compose("std26", site=1, card="0-9", options=["--hex"])) == 10


def test_refusals_speak_as_the_command_does():
    desk = Desk()
    for words in (["read", "missing.csv"], ["read", "--formt", "json"]):
        ran = desk.run(words)
        assert ran.code == 2
        with pytest.raises(Refused) as refused:
            desk.json("read", words[1:])
        # Its usage line differs by the format that is asked for.
        assert str(refused.value).splitlines()[0] == ran.said.splitlines()[0]
    with pytest.raises(FileNotFoundError):
        holdover.read(pathlib.Path("missing.csv"))
    with pytest.raises(Refused, match="no ordinary file"):
        holdover.read(pathlib.Path("/dev/zero"))
    with pytest.raises(Refused):
        holdover.plan("[panel]\nslots = -1\n", "layout,site,card\n")
    with pytest.raises(Refused):
        holdover.compose("nobody", card=1)
    with pytest.raises(Refused):
        holdover.prove()
    with pytest.raises(Refused):
        holdover.read(CARD, options=["--help"])
    with pytest.raises(Refused):
        holdover.read()


def test_names_that_look_like_something_else(tmp_path: pathlib.Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    for name in ("0101", "-", "--help", "0x1F", "a b"):
        pathlib.Path(name).write_text(CARD + "\n")
        (answer,) = holdover.read(pathlib.Path(name))
        assert answer["verdict"] == "identified", name
        assert answer["source"] in (name, f"./{name}")


def test_whole_numbers_of_pandas_stay_whole():
    roster = pandas.DataFrame(
        {"layout": ["std26", "num34"], "site": [65.0, None], "card": [17, 18], "printed": ["00017", "18"]}
    )
    plan = holdover.plan("[panel]\nslots = 2\n", roster)
    assert plan["kept"] == 2 and not plan["lost"]


def ran_after_fork(pipe) -> None:
    pipe.send([len(holdover.read(MILL / "survey.csv")), len(holdover.compose("std26", site=1, card="1-9"))])


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_forked_process_goes_on():
    """A child does not wait for threads that are not in it."""
    holdover.read(MILL / "survey.csv")
    forked = multiprocessing.get_context("fork")
    ours, its = forked.Pipe()
    child = forked.Process(target=ran_after_fork, args=(its,))
    child.start()
    assert ours.poll(60), "the child hangs"
    assert ours.recv() == [28, 9]
    child.join(10)


CALLS = json.loads((FIXTURES / "cases/calls.json").read_text())


@pytest.mark.parametrize("call", CALLS["cases"], ids=lambda call: call["name"])
def test_shared_cases(call: dict):
    """The same bytes as the binary's, for every call that all ways in share."""
    assert CALLS["schema"] == holdover.SCHEMA
    kept = FIXTURES / "cases/calls"

    def read(name: str) -> bytes:
        path = kept / f"{call['name']}.{name.replace('/', '-')}"
        return path.read_bytes() if path.exists() else b""

    desk = Desk()
    for name, path in call["files"].items():
        desk.put(name, (FIXTURES / path).read_bytes())
    ran = desk.run(call["words"])
    assert (ran.code, ran.said) == (call["code"], call["said"])
    assert ran.output == read("out")
    written = {name: desk.get(name) for name in desk.names() if name not in call["files"]}
    assert written == {name: read(name) for name in call["writes"]}
    # What the functions return is the JSON of the command, byte for byte.
    verb, *words = call["words"]
    verbs = ("read", "learn", "plan", "prove", "compose")
    if verb in verbs and words[-2:] == ["--format", "json"]:
        again = Desk()
        for name, path in call["files"].items():
            again.put(name, (FIXTURES / path).read_bytes())
        if call["code"] == 2 and not read("out"):
            with pytest.raises(Refused):
                again.json(verb, words[:-2])
        else:
            assert again.json(verb, words[:-2]).output == read("out")
