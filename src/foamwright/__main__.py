"""`python -m foamwright`."""

from foamwright.cli import main

main(prog_name="foamwright")
