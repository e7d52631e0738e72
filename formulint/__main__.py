"""``python -m formulint``."""

from formulint.cli import main

raise SystemExit(main())
