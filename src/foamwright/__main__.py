"""`python -m foamwright`."""

from foamwright.cli import main

main()
