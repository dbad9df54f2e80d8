"""``python -m tautline``: the command line."""

import sys

from tautline.main import main

sys.exit(main())
