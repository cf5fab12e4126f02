"""`python -m coilwright` is the command line."""

from coilwright.cli.main import main

main()
