"""``python -m rimread``, where the command is not on the search path."""

from rimread.cli import app

if __name__ == "__main__":
    app(prog_name="rimread")
