"""How good the answers were, by time, beside plain baselines."""
