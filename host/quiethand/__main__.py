"""`python -m quiethand` is the command line."""

from quiethand.commands import main

main()
