"""What is going on with one tree? Its history on disk, its plan at hand, and the work for the next answer."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from treescan.assess import Assessment, throws_from
from treescan.atomic import only_run, whole_folder
from treescan.errors import TreescanError
from treescan.faces.guard.last_net import told as foreseen
from treescan.faces.session.answers import Answers
from treescan.faces.session.changes import Change
from treescan.faces.session.history import History
from treescan.faces.session.inputs import Inputs, arguments
from treescan.faces.session.recorded import with_files
from treescan.faces.session.session_file import digest_of, read_session, write_session
from treescan.loads.limb_check import AnchorCheck
from treescan.outputs.write import write_outputs
from treescan.planning.tie_in_point import TieInPoint
from treescan.throw.throw_path import Throw
from treescan.wood.files.read_tree import read_tree
from treescan.wood.files.write_tree import write_tree

SESSION = "session.json"
TELLING = 0.2
"""First answers are told no oftener. [s]"""
MOST_FIRST = 60
"""First answers that are told; then the plan comes."""
FILES = "files"
"""Folder of what was written for others."""


def sentence_of(err: BaseException) -> str:
    """A fault nobody foresaw as a sentence; its log is written."""
    return foreseen(err, ["serve"]).sentence()


class Superseded(Exception):
    """A newer question has come, or this one was stopped."""


@dataclass(frozen=True)
class Work:
    """What is being worked out: a stage and its share done."""

    stage: str
    share: float
    since: float


@dataclass(frozen=True)
class FirstAnswers:
    """What is known already while the plan is worked out: lines judged anew, or throws asked again, each by itself; `of` so
    many."""

    checks: tuple[AnchorCheck, ...]
    of: int
    throws: tuple[tuple[TieInPoint, Throw | None], ...] = ()


class Desk:
    """One tree on the page, for as many browsers as look at it; every public method may be called from any thread.

    Raises BadInput where another server has the same tree open with the same folder.
    """

    def __init__(self, tree_file: Path, folder: Path, base: Inputs) -> None:
        self.tree = read_tree(tree_file)
        self.digest = digest_of(tree_file)
        self.folder = folder / self.digest[:12]  # a tree traced anew has a history of its own
        self.answers = Answers(self.tree)
        whole, self.lacks = with_files(base, tree_file.parent / "run.json", self.tree)
        stored = self.folder / SESSION
        self._held = ExitStack()
        self._held.enter_context(only_run(stored))
        try:
            if not stored.exists():
                write_session(stored, History(whole), self.digest)
            self.history = read_session(stored, self.digest)
        except BaseException:
            self._held.close()
            raise
        self.version, self.fault = 1, ""
        self.work: Work | None = None
        self.took: float | None = None
        self.first: FirstAnswers | None = None
        self.looked_at = ""  # the union that was chosen when the last wish came
        self.thrown: tuple[int, tuple[Throw, ...]] | None = None
        self.written: tuple[str, ...] = ()
        self.before: Inputs | None = None
        self.shown: tuple[Any, ...] = ()  # what was last made of the plan for the page, kept by who made it
        self._wish, self._stop, self._closed = "plan", False, False
        self._changed = threading.Condition(threading.RLock())
        self._thread = threading.Thread(target=self._run, name=f"desk {folder.name}", daemon=True)
        self._thread.start()

    # --- what is asked of it

    def change(self, change: Change) -> None:
        """One change more: held against the tree, on disk, then worked out. BadInput where it cannot be meant."""
        self._step(lambda h: h.with_change(change))

    def move(self, to: int) -> None:
        """Undo and redo: the first `to` changes stand."""
        self._step(lambda h: h.moved(to))

    def name(self, name: str) -> None:
        """The state as it stands gets a name."""
        with self._changed:
            history = self.history.with_name(name)
            write_session(self.folder / SESSION, history, self.digest)
            self.history = history
            self._tell()

    def _step(self, step: Callable[[History], History]) -> None:
        with self._changed:
            history = step(self.history)
            arguments(self.tree, history.inputs)
            write_session(self.folder / SESSION, history, self.digest)
            if history.inputs.key() != self.history.inputs.key():
                self.before = self.history.inputs
            self.history, self.fault, self._wish, self._stop = history, "", "plan", False
            self.first = None
            self._tell()

    def write(self) -> None:
        """All files of the plan, into the folder `files`."""
        with self._changed:
            self._wish, self._stop, self.written = "files", False, ()
            self._tell()

    def stop(self) -> None:
        """What is being worked out is given up; the history stays."""
        with self._changed:
            self._stop = True
            self._tell()

    def close(self) -> None:
        """No more answers; the thread ends."""
        with self._changed:
            self._closed = self._stop = True
            self._tell()
        self._thread.join(30)
        self._held.close()

    def wait(self, version: int, seconds: float) -> int:
        """The version of the desk once it is another one, or after so many seconds."""
        until = time.monotonic() + seconds
        with self._changed:
            while self.version == version and (left := until - time.monotonic()) > 0:
                self._changed.wait(left)
            return self.version

    @property
    def plan(self) -> Assessment | None:
        """The plan of the changes that stand, where it is at hand."""
        return self.answers.at_hand(self.history.inputs)

    @property
    def plan_before(self) -> Assessment | None:
        """The plan before the last change, where it is at hand."""
        return None if self.before is None else self.answers.at_hand(self.before)

    # --- the thread

    def _tell(self) -> None:
        self.version += 1
        self._changed.notify_all()

    def _run(self) -> None:
        while True:
            with self._changed:
                while not self._closed and not self._wanted():
                    self._changed.wait()
                if self._closed:
                    return
                wish, inputs, history = self._wish, self.history.inputs, self.history
                self.work = Work("", 0.0, time.monotonic())
                self._tell()
            start = time.monotonic()
            try:
                self._do(wish, inputs, history)
                fault = ""
            except Superseded:
                fault = ""
            except TreescanError as err:
                fault = err.sentence()
            except Exception as err:  # the last net of a server: the desk stays
                fault = sentence_of(err)
            with self._changed:
                self.work, self.took, self.first = None, time.monotonic() - start, None
                if fault:
                    self.fault, self._stop = fault, True
                elif wish == self._wish and inputs is not None and not self._stop:
                    self._wish = "" if wish == "files" else self._wish
                self._tell()

    def _wanted(self) -> bool:
        if self._stop:
            return False
        return self._wish == "files" or self.plan is None or self._question() is not None

    def _question(self) -> tuple[int, Change] | None:
        """The last standing question for throws that has no answer yet."""
        asked = self._last_asked()
        return None if asked is None or (self.thrown is not None and self.thrown[0] == asked[0]) else asked

    def _last_asked(self) -> tuple[int, Change] | None:
        return next((line for line in reversed(self.history.standing) if line[1].kind == "stand"), None)

    def throws_told(self) -> tuple[int, tuple[Throw, ...]] | None:
        """The answer to the last standing question for throws, with its line; None once it was undone."""
        asked, found = self._last_asked(), self.thrown
        return found if asked is not None and found is not None and found[0] == asked[0] else None

    def _do(self, wish: str, inputs: Inputs, history: History) -> None:
        def progress(stage: str, share: float) -> None:
            with self._changed:
                if self._stop or self._closed or self.history.inputs.key() != key:
                    raise Superseded
                work = self.work
                if work is None or work.stage != stage or share - work.share >= 0.02:
                    self.work = Work(stage, share, work.since if work else time.monotonic())
                    self._tell()

        def heard(check: AnchorCheck, n: int, of: int) -> None:
            checks.append(check)
            now = time.monotonic()
            if n == 1 or (now - told[0] >= TELLING and n <= MOST_FIRST):
                told[0] = now
                with self._changed:
                    self.first = FirstAnswers(tuple(checks), of)
                    self._tell()

        def heard_throw(point: TieInPoint, now: Throw | None, n: int, of: int) -> None:
            throws.append((point, now))
            with self._changed:
                self.first = FirstAnswers((), of, tuple(throws))
                self._tell()

        key, checks, told = inputs.key(), list[AnchorCheck](), [0.0]
        throws: list[tuple[TieInPoint, Throw | None]] = []
        self.answers.first_throws(inputs, self.looked_at, heard_throw, progress)
        done = self.answers.of(inputs, progress, heard, self.looked_at)
        if (asked := self._question()) is not None:
            values = asked[1].values
            found = throws_from(done, values["place"], values["union"], progress)
            with self._changed:
                self.thrown = (asked[0], found)
        if wish == "files":
            self._write(done, history, progress)

    def _write(self, done: Assessment, history: History, progress: Callable[[str, float], None]) -> None:
        """The files as the command line writes them, and the session they came from."""
        target = self.folder / FILES
        with whole_folder(target, lambda: None) as part:
            written: list[Any] = list(write_tree(self.tree, part / "tree.json"))
            written += write_outputs(done, part, progress)
            written.append(write_session(part / SESSION, history, digest_of(part / "tree.json")))
            names = tuple(str(Path(f).relative_to(part)) for f in written)
        with self._changed:
            self.written = names
