"""A page of visit sheets tapped through in a browser, and the same visits by the keys of a conversation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from pipeline import Workshop
from pipeline.call.question import Question
from pipeline.on_site.keys import choices
from pipeline.on_site.step_by_step import Walk
from pipeline.on_site.visit_state import Visit
from pipeline.visit.answer import Answer
from pipeline.words.appliance import ALWAYS
from reports.render.pdf import find_browser

QUIET = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
# every choice of every point once: path of keys → what the card shows; a point met before is not followed again
TAPS = """
([number, most]) => {
  const place = document.querySelector(`[data-walk="${number}"]`);
  const shown = {}, met = new Set();
  const keys = () => [...place.querySelectorAll(".card > .keys .key")];
  const undo = () => [...place.querySelectorAll(".foot button")].find((one) => one.textContent === "Undo").click();
  const follow = (path) => {
    const card = place.querySelector(".card");
    shown[path.join(" ")] = {
      odds: [...card.querySelectorAll(".may-be li")].map((row) => [...row.children].slice(0, 2).map((x) => x.textContent).join(" ")),
      next: card.querySelector("h3.next") ? card.querySelector("h3.next").textContent : "",
      keys: keys().map((key) => key.textContent),
      cautions: [...card.querySelectorAll(".care dt")].map((name) => name.textContent),
      ended: card.querySelector('[aria-pressed="true"]') ? card.querySelector('[aria-pressed="true"]').textContent : "",
    };
    if (met.has(card.dataset.at) && card.dataset.at >= 0) return;
    met.add(card.dataset.at);
    if (card.dataset.at < 0 || Object.keys(shown).length >= most) return;
    keys().forEach((_, key) => { keys()[key].click(); follow([...path, key]); undo(); });
  };
  follow([]);
  return shown;
}
"""


@contextmanager
def browser() -> Iterator[Any]:
    """Start a Chromium that asks nobody for anything."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        running = started.chromium.launch(executable_path=find_browser(), args=QUIET)
        yield running
        running.close()


def tapped(page: Any, number: int, most: int = 100_000) -> dict[tuple[int, ...], dict[str, Any]]:
    """Tap one call of an open page through, or so many of its cards; path of key places → what the card shows."""
    shown = page.evaluate(TAPS, [number, most])
    return {tuple(int(key) for key in path.split()): card for path, card in shown.items()}


def keys_of(now: Answer) -> dict[str, str]:
    """Keys that lead on from the next step, with their labels."""
    return {key: now.wording.told(label) for key, label in choices(now, now.steps[0]).items() if key.isdigit()}


def differences(
    workshop: Workshop, asked: Question, cards: Mapping[tuple[int, ...], Mapping[str, Any]]
) -> tuple[int, int, list[str]]:
    """Compare the cards of a call with what the conversation shows at the same keys.

    Returns
    -------
    tuple
        Cards compared; cards that say "ask again" instead; and what differs, in words.
    """
    walk = Walk(workshop.database, workshop.words, workshop.settings)
    stands: dict[Any, Any] = {}
    compared, asks, wrong = 0, 0, []
    for path, card in cards.items():
        visit = Visit(asked, stands=stands)
        for place in path:
            now = visit.stand(walk).now
            assert visit.press(now, list(keys_of(now))[place], workshop.words) == ""
        if card["next"] == "Ask again from here":
            asks += 1
            continue
        compared += 1
        if visit.outcome:
            wrong += [] if card["ended"] == visit.outcome else [f"{path}: {card['ended']} for {visit.outcome}"]
            continue
        now = visit.stand(walk).now
        step = now.steps[0]
        said = {
            "next": now.wording.told(step.told),
            "odds": [f"{row.cause} {row.probability:.0%}" for row in now.causes[:3] if row.probability >= 0.01],
            "keys": [] if step.do == "hand over" else list(keys_of(now).values()),
        }
        shown = {**card, "odds": [row for row in card["odds"] if row[-3:] not in (" 0%",)]}
        for name, value in said.items():
            if shown[name][: len(value)] != value:
                wrong.append(f"{path}: {name} {shown[name]!r} for {value!r}")
        if not set(step.cautions) - {ALWAYS} <= set(card["cautions"]):
            wrong.append(f"{path}: cautions {card['cautions']} for {step.cautions}")
    return compared, asks, wrong
