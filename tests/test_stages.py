"""How the work on several sources alternates by stage: `build/stage_runner.py`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from lickwright.build.stage_runner import Steps, Turns, run_sources
from lickwright.build.task import compile_source
from lickwright.build.worker import Setup, output_writer
from lickwright.export import Options
from lickwright.store.types import CompileOptions, WorkItem, WorkResult

LIGHT = CompileOptions(("tab", "midi"), Options(), None, bytes(16), True)
LICK = 'lick "Number {}"\nkey A minor\nbox 1\n| e8 e5 B8^10 -r p5 G7~-- ||\n'


class Told(Turns):
    """Keeps whose turn it was."""

    def __init__(self) -> None:
        self.begun: list[int] = []
        self.ended: list[int] = []

    def begin(self, item: WorkItem) -> None:
        self.begun.append(item.id)

    def end(self, item: WorkItem) -> None:
        self.ended.append(item.id)


def items(number: int, text: Callable[[int], str] = LICK.format) -> list[WorkItem]:
    return [WorkItem(n, f"{n}.lick", f"s{n}", 0, data=text(n).encode()) for n in range(1, number + 1)]


def turns(
    out: Path, some: list[WorkItem], compile_options: CompileOptions = LIGHT
) -> tuple[list[int], list[WorkResult]]:
    told, writer = Told(), output_writer(Setup(str(out), False, (compile_options,)))
    results = list(run_sources(compile_source, some, (compile_options,), writer, told))
    writer.close()
    assert told.begun == told.ended
    assert [result.id for result in results] == [item.id for item in some]
    return told.begun, results


def test_the_same_stage_of_all_comes_before_the_next(tmp_path: Path) -> None:
    order, results = turns(tmp_path / "out", items(3))
    assert order == [1, 2, 3] * (len(order) // 3)
    assert len(order) // 3 >= 4  # compiling, two formats and the facts at the least
    assert [len(result.outputs) for result in results] == [2, 2, 2]
    assert [result.facts[0].title for result in results] == ["Number 1", "Number 2", "Number 3"]


def test_what_is_made_is_the_same_as_one_by_one(tmp_path: Path) -> None:
    text = (
        'lick "Low road"\n| h7 e5 B8 B5 ||\n' + LICK.format(0),
        LICK.format(1) + "\n" + LICK.format(2),
        LICK.format(3),
    )
    some = items(3, lambda n: text[n - 1])
    _, together = turns(tmp_path / "together", some)
    alone = [result for item in some for result in turns(tmp_path / "alone", [item])[1]]

    def plain(result: WorkResult) -> WorkResult:
        return result._replace(outputs=tuple(row._replace(mtime=0, ctime=0, inode=0) for row in result.outputs))

    assert list(map(plain, together)) == list(map(plain, alone))
    made = [{str(p.relative_to(top)): p.read_bytes() for p in top.glob("s*/*")} for top in tmp_path.iterdir()]
    assert made[0] == made[1] and len(made[0]) == 8


def test_large_sources_and_large_outputs_are_worked_on_alone(tmp_path: Path) -> None:
    order, _ = turns(tmp_path / "large", items(3, lambda n: "#" * (40_000 * (n < 3)) + "\n" + LICK.format(n)))
    stages = len(order) // 3
    assert order == [1] * stages + [2, 3] * stages  # the third is small enough to go with the second
    order, _ = turns(tmp_path / "page", items(3), LIGHT._replace(formats=("page",)))
    assert order == sorted(order)


def test_an_exception_in_any_stage_costs_its_source_alone(tmp_path: Path) -> None:
    def fails(item: WorkItem, compile_options: CompileOptions, writer: object) -> Steps:
        for stage in range(3):
            if item.id == stage + 2:
                raise RuntimeError(f"stage {stage}")
            yield
        return WorkResult(item.id, done=True)

    results = list(
        run_sources(fails, items(6), (LIGHT,), output_writer(Setup(str(tmp_path), False, (LIGHT,))), Turns())
    )
    assert [result.done for result in results] == [True, False, False, False, True, True]
    assert ["stage" in bug for result in results for _, bug in result.bugs] == [True] * 3


def test_work_in_one_step_is_done_in_turn_and_lack_of_memory_is_raised(tmp_path: Path) -> None:
    def simple(item: WorkItem, compile_options: CompileOptions, writer: object) -> WorkResult:
        if item.id == 9:
            raise MemoryError
        return WorkResult(item.id)

    writer = output_writer(Setup(str(tmp_path), False, (LIGHT,)))
    assert [result.id for result in run_sources(simple, items(3), (LIGHT,), writer, Turns())] == [1, 2, 3]
    with pytest.raises(MemoryError):
        list(run_sources(simple, items(9), (LIGHT,), writer, Turns()))
