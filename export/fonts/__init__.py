"""Where the shipped fonts are; README.md says how they were made."""

from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).resolve().parent
SANS: Final = "DejaVu Sans"
MONO: Final = "DejaVu Sans Mono"
SANS_FILE: Final = "DejaVuSans.ttf"
BOLD_FILE: Final = "DejaVuSans-Bold.ttf"
