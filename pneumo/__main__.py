"""`python -m pneumo`."""

from pneumo.cli import program

program()
