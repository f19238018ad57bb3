"""What passes between the pages and the program beside them, as lines of JSON: no format that runs code when read."""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import json
from typing import Any

from reports.pages.headline import Figure, Strip

_MADE = {kind.__name__: kind for kind in (Figure, Strip)}


def line_of(value: Any) -> bytes:
    """One line of JSON; frames, figures, bytes, days and tuples are marked with what they are."""
    return json.dumps(_marked(value)).encode() + b"\n"


def value_of(line: bytes) -> Any:
    """What `line_of` wrote; EOFError where the line is cut or there is none."""
    if not line.endswith(b"\n"):
        raise EOFError
    return _made(json.loads(line))


def _marked(value: Any) -> Any:
    if hasattr(value, "item") and not hasattr(value, "columns"):
        value = value.item()
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, list):
        return [_marked(one) for one in value]
    if isinstance(value, tuple):
        return {"tuple": [_marked(one) for one in value]}
    if isinstance(value, dict):
        return {"dict": [[_marked(key), _marked(one)] for key, one in value.items()]}
    if isinstance(value, bytes):
        return {"bytes": base64.b64encode(value).decode()}
    if isinstance(value, dt.datetime):
        return {"moment": value.isoformat()}
    if isinstance(value, dt.date):
        return {"day": value.isoformat()}
    if dataclasses.is_dataclass(value) and type(value).__name__ in _MADE:
        held = {field.name: _marked(getattr(value, field.name)) for field in dataclasses.fields(value)}
        return {"made": [type(value).__name__, held]}
    if hasattr(value, "columns"):
        rows = value.astype(object).to_numpy().tolist()
        return {"frame": [[str(name) for name in value.columns], _marked(rows)]}
    raise TypeError(f"{type(value).__name__} is not passed on")


def _made(value: Any) -> Any:
    if isinstance(value, list):
        return [_made(one) for one in value]
    if not isinstance(value, dict):
        return value
    ((what, held),) = value.items()
    if what == "tuple":
        return tuple(_made(held))
    if what == "dict":
        return {_made(key): _made(one) for key, one in held}
    if what == "bytes":
        return base64.b64decode(held)
    if what == "moment":
        return dt.datetime.fromisoformat(held)
    if what == "day":
        return dt.date.fromisoformat(held)
    if what == "made":
        return _MADE[held[0]](**{name: _made(one) for name, one in held[1].items()})
    import pandas as pd

    return pd.DataFrame(_made(held[1]), columns=held[0])
