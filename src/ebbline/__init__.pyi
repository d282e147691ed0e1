from ebbline.front_door import compare as compare
from ebbline.front_door import events as events
from ebbline.front_door import examine as examine
from ebbline.front_door import from_arrays as from_arrays
from ebbline.front_door import from_frame as from_frame
from ebbline.front_door import invent as invent
from ebbline.front_door import modified as modified
from ebbline.front_door import open as open
from ebbline.front_door import plot as plot
from ebbline.front_door import read as read
from ebbline.front_door import read_many as read_many
from ebbline.front_door import summary as summary

__version__: str
CAUTION: str
__all__: list[str]
