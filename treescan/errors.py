"""Everything treescan raises on purpose.

::

    TreescanError            anything below
    |-- BadInput             the file, the option or the call is at fault: exit code 2
    `-- RunFailed            the input was fine but the run could not finish: exit code 1

A scan that cannot tell is *not* an error: it is an honest result ("not seen", "not assessable") carried to the page.
"""

from __future__ import annotations

import errno
import re

LONGEST = 1000
"""Letters of a fault that are told; a file can hold words of any length."""
LONGEST_OF_A_LIBRARY = 160
"""Letters of a library's own words that are told."""
TALK = re.compile(r"IoError: |\[Errno -?\d+\] |Error -?\d+ while decompressing data: |(?:Error tokenizing data\. )?C error: ")
"""What programmers write before the fault itself."""


class TreescanError(Exception):
    """Base of all errors of this package; `exit_code` is what the command line returns."""

    exit_code = 1

    def __init__(self, what: str, *, file: str | None = None, remedy: str | None = None) -> None:
        """Say what is wrong, in which file, and what to do next.

        Parameters
        ----------
        what : str              The fault, one clause, no full stop at the end.
        file : str, optional    The file it was found in.
        remedy : str, optional  What the user can do, one clause.
        """
        self.what, self.file, self.remedy = what, file, remedy
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """The whole message on one line: file, fault, remedy."""
        what = self.what if len(self.what) <= LONGEST else self.what[:LONGEST] + "..."
        start = f"{self.file}: {what}" if self.file else what
        text = f"{start}. {self.remedy[0].upper()}{self.remedy[1:]}." if self.remedy else f"{start}."
        return " ".join(text.split())


def in_words(err: BaseException) -> str:
    """The fault in a library's own words, on one line, without its talk to programmers."""
    if isinstance(err, OSError) and err.errno == errno.EINVAL:
        return "it is damaged"  # a place in the file that cannot be
    if isinstance(err, TypeError):
        return "a wrong value"
    if "pickle" in str(err):
        return "not only numbers"
    return TALK.sub("", " ".join(str(err).split()))[:LONGEST_OF_A_LIBRARY] or "unknown reason"


class BadInput(TreescanError, ValueError):
    """The input is at fault; nothing was written."""

    exit_code = 2


class RunFailed(TreescanError, RuntimeError):
    """The run could not be finished although the input was fine."""

    exit_code = 1
