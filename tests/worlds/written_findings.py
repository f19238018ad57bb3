"""120 ways to write 20 findings: what a load, ``--found``, a visit step by step and a round all read alike."""

FINDINGS = [
    ("washing machine", "water left", "no"), ("washing machine", "water left", "yes"), ("washing machine", "pump filter", "blocked"),
    ("washing machine", "pump filter", "clear"), ("washing machine", "pump sound", "hums"), ("washing machine", "suds", "no"),
    ("washing machine", "drains into bucket", "yes"), ("washing machine", "air tube", "blocked"), ("washing machine", "sump hose", "clear"),
    ("washing machine", "element", "open"), ("washing machine", "element", "to earth"), ("tumble dryer", "lint path", "blocked"),
    ("tumble dryer", "element", "good"), ("dishwasher", "spray arms", "blocked"), ("dishwasher", "water left", "no"),
    ("fridge-freezer", "compressor", "clicks"), ("fridge-freezer", "fan", "silent"), ("electric oven", "oven fan", "still"),
    ("electric hob", "pan", "not magnetic"), ("vacuum cleaner", "air path", "blocked"),
]  # fmt: skip
WAYS = ("{f}={v}", "{f}: {v}", "{f} : {v}", "{f} - {v}", "{f} is {v}", "{f} {v}")


def written() -> list[tuple[str, str, str, str]]:
    """Kind, text, finding and value."""
    return [(kind, way.format(f=f, v=v), f, v) for kind, f, v in FINDINGS for way in WAYS]
