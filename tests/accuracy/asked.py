"""What is asked of a command that simulates photos: how many, which seed, how many cores."""

import argparse


def options(doc: str, *, count: int) -> argparse.ArgumentParser:
    """A parser with the options that all of them share, headed by the first line of `doc`."""
    parser = argparse.ArgumentParser(description=doc.splitlines()[0])
    parser.add_argument("--count", type=int, default=count)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=1)
    return parser
