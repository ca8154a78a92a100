"""What a project requires of every lick: the house rules of a `lickwright.toml` as a value.

`config/project_config.py` finds and reads the file. `ProjectRules` is what `resolution.py` and `checks/suppressions.py`
apply; it knows where each thing is written, so that a finding can show the line. The findings about the file itself
(L701 to L704) stand here, the one about a lick without a required field (L705) in `fields.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from lickwright.core.diagnostics import RelatedInformation, Rule, Severity
from lickwright.core.fast_dataclass import field, record
from lickwright.core.source import Source, Span
from lickwright.music.instruments import InstrumentRow


class ProjectField(NamedTuple):
    """A field that the project sets for licks that do not."""

    value: Any  # as the field's row reads it
    text: str  # as it would stand in a lick
    span: Span  # in the project's file


@record
class ProjectRules:
    """The fields, required fields, severities and sounds of a project: plain data, which is sent to other processes."""

    source: Source  # the project's file, for notes that quote it
    fields: Mapping[str, ProjectField] = field(default_factory=dict)  # by the field's name
    unread: frozenset[str] = frozenset()  # fields that it sets to what cannot be read: nothing is judged by them
    required: Mapping[str, Span] = field(default_factory=dict)  # fields that every lick must have; where that is said
    severities: Mapping[str, Severity | None] = field(default_factory=dict)  # by code; None: not shown
    sounds: Mapping[str, InstrumentRow] = field(default_factory=dict)  # of its own, by name

    def note(self, span: Span, message: str) -> RelatedInformation:
        """Return a place in the project's file, as the other place of a finding."""
        return RelatedInformation(span, message, self.source)


# --- rules about the file -------------------------------------------------------------------------------------------

SYNTAX = Rule(
    "L701", "house rules unreadable", Severity.ERROR, "a line of lickwright.toml that cannot be read",
    "A lickwright.toml holds one setting a line: a name, `=` and a value. Words stand in straight quotes, numbers and true or false do not, "
    "several values stand in [brackets] with commas between. A section begins with its name in brackets, alone on its line. "
    "Nothing is made by a file that is half understood.",
    "[make]\nwidth 100\n", "[make]\nwidth = 100\n",
)  # fmt: skip
UNKNOWN = Rule(
    "L702", "unknown setting", Severity.ERROR, "a name that lickwright.toml does not have, or has elsewhere",
    "Each setting has its section: options of `lickwright make` stand under [make], fields of the notation under [fields], codes of findings "
    "under [findings], and `required` at the top.",
    "[make]\nwidht = 100\n", "[make]\nwidth = 100\n",
)  # fmt: skip
VALUE = Rule(
    "L703", "setting's value", Severity.ERROR, "a setting whose value cannot be read",
    "Each setting has its own kind of value. Fields take what they take in a lick, in quotes.",
    "[fields]\nmeter = \"4\"\n", "[fields]\nmeter = \"4/4\"\n",
)  # fmt: skip
FIXED = Rule(
    "L704", "error that must stay", Severity.ERROR, "an error that lickwright.toml would turn off",
    "Under [findings] you say which warnings and notes not to show, or to show as errors. What is an error by itself stays one: "
    "such a lick cannot be read or played as it is written, so nothing could be made of it.",
    "[findings]\nL301 = \"off\"\n", "[findings]\nL303 = \"off\"\n",
)  # fmt: skip

RULES: tuple[Rule, ...] = (SYNTAX, UNKNOWN, VALUE, FIXED)
