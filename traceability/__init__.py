"""Which ECMO circuits contain lot X, who was on them, and when: a record made by scanning.

Each folder is a layer, each file a subject; imports go down only. DEVELOPERS.md has the map.
"""

from typing import Final

__version__: Final = "0.1.0"
