"""Long work that only reads, in a program of its own: the pages answer beside it.

``python -P -m pipeline.open.apart WORK DB [FILE]`` writes to its standard output, pickled one after the other, a text
whenever there is something to tell, and at the end what came of it: the result, and what and remedy of a fault.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, cast

from pipeline.errors import PriorjobsError
from pipeline.terminal.ending import as_told
from pipeline.terminal.views import SCORES, checked

if TYPE_CHECKING:
    from pipeline.workshop import Workshop

Tell = Callable[[str], None]


def apart(work: str, db: Path, tell: Tell, *files: Path) -> Any:
    """Do one of `WORKS` in a program of its own, and give its result.

    Raises
    ------
    PriorjobsError
        As the work does, or it was ended from outside.
    """
    command = [sys.executable, "-P", "-m", __name__, work, str(db), *map(str, files)]
    found_in = os.pathsep.join([str(Path(__file__).parents[2]), *filter(None, sys.path)])
    with subprocess.Popen(  # noqa: S603 - this program itself
        command, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": found_in}
    ) as program:
        out = cast("IO[bytes]", program.stdout)
        try:
            while isinstance(told := pickle.load(out), str):  # noqa: S301 - written by this program itself
                tell(told)
        except EOFError as ended:
            raise PriorjobsError("This work was ended before it was done.", "Begin it again.") from ended
        finally:
            program.terminate()
    result, fault = told
    if fault is not None:
        raise PriorjobsError(*fault)
    return result


def _train(workshop: Workshop, tell: Tell) -> dict[str, Any]:
    before = workshop.models()
    in_use = before.loc[before["is_in_use"].astype(bool), "model"].tolist()
    told: dict[str, Any] = workshop.train(tell=tell)
    compared = workshop.compare_models(in_use[0], told["model"]).round(3).values.tolist() if in_use else []
    scored = {"": told["scores"], **told["baselines"]} if told["scores"] else {}
    ways = [(way, [round(scores[name], 3) for name in SCORES]) for way, scores in scored.items()]
    return told | {"ways": ways, "compared": compared, "before": in_use[0] if in_use else None}


WORKS: dict[str, Callable[..., Any]] = {
    "train": _train,
    "backtest": lambda workshop, tell, page: workshop.backtest(page, tell=tell)["scores"],
    "check": lambda workshop, _: checked(workshop.status(check=True)),
    "look": lambda workshop, _: workshop.to_review(),
}


def main() -> None:
    """Do the work that the arguments name."""
    from pipeline.workshop import Workshop

    work, db, *files = sys.argv[1:]
    out, sys.stdout = sys.stdout.buffer, sys.stderr  # whatever else is printed must not stand between what is told

    def told(what: Any) -> None:
        pickle.dump(what, out)
        out.flush()

    try:
        with Workshop.open(db, read_only=True) as workshop:
            told((WORKS[work](workshop, told, *map(Path, files)), None))
    except Exception as fault:
        known = fault if isinstance(fault, PriorjobsError) else as_told(fault)
        told((None, (known.what, known.remedy)))
    except KeyboardInterrupt:
        pass  # the pages were stopped, and with them whoever waits for this


if __name__ == "__main__":
    main()
