"""The command line without a process: `cli(...)` gives exit code and what stood on stdout, `asked(...)` its JSON object."""

import contextlib
import io
import json

from coilwright.cli.main import main


def cli(*arguments):
    """(exit code, stdout, stderr) of one command in this process."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(a) for a in arguments])
        except SystemExit as leave:
            code = leave.code or 0
    return code, out.getvalue(), err.getvalue()


def asked(*arguments, code=0):
    """The JSON object of a command that must end with this exit code."""
    got, out, err = cli(*arguments, "--json")
    assert got == code, f"{arguments}: exit code {got}\n{err}"
    return json.loads(out)
