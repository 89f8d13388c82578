"""``python -m conegap``: the command line where its script is not on the path."""

import sys

from conegap.solver.commands.main import main

sys.exit(main())
