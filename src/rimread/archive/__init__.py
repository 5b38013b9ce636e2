"""Many photos measured again: which ones, with which scale, by whom, and what changed."""
