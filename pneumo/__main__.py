"""`python -m pneumo`."""

from pneumo.cli import main

raise SystemExit(main())
