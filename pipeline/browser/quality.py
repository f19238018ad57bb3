"""How good is it: models learned, compared and chosen; a year asked again; drift; what the records lack."""

from __future__ import annotations

import flask

from pipeline.browser.app import go, library, own_page, page, work
from pipeline.browser.worker import rows_of
from pipeline.terminal.views import SCORES
from reports.render.wording import sentence

pages = flask.Blueprint("learned", __name__)
BACKTEST = "backtest.html"  # beside the database: the page of the last backtest


@pages.get("/learned")
def models() -> flask.Response:
    """Models with their scores, the last work's result, and how well the records are understood."""
    with library().opened() as workshop:
        listed = rows_of(workshop.models())
        state = workshop.status()
    job = library().job
    ended = {job.what: job.result} if job is not None else {}
    return page(
        "quality.html",
        models=listed,
        scores=[sentence(f"open.score_{name}") for name in SCORES],
        state=state,
        has_backtest=library().kept(BACKTEST).is_file(),
        train=ended.get("train"),
        check=ended.get("check"),
    )


@pages.post("/learned/<any(train, check, backtest):what>")
def begin(what: str) -> flask.Response:
    """Learn from the cured jobs; ask whether all holds and whether the work has changed; ask last year's jobs again."""
    return work(what, "learned.models", None, *([str(library().kept(BACKTEST))] if what == "backtest" else []))


@pages.post("/learned/use")
def use() -> flask.Response:
    """Put another model in use."""
    with library().opened() as workshop:
        workshop.use_model(flask.request.form.get("model", ""))
    return go("learned.models")


@pages.get("/learned/backtest")
def backtest() -> flask.Response:
    """The page of the last backtest."""
    place = library().kept(BACKTEST)
    if not place.is_file():
        flask.abort(404)
    return own_page(place.read_text(encoding="utf-8"))
