"""The errors of the library: one base class, the facts in fields, one form of message."""

from __future__ import annotations

from collections.abc import Sequence


class GripmarginError(Exception):
    """Base of every error raised on purpose.

    The message reads: where: found ..., expected ...; what to do.

    Attributes:
        where: File, line, key, column or argument the error is about.
        found: What is there.
        expected: What should be there.
        remedy: What to do; may be empty.
    """

    def __init__(self, where: str, found: str, expected: str, remedy: str = "") -> None:
        self.where = where
        self.found = found
        self.expected = expected
        self.remedy = remedy
        super().__init__(where, found, expected, remedy)

    def __str__(self) -> str:
        text = f"{self.where}: found {self.found}, expected {self.expected}"
        return f"{text}; {self.remedy}" if self.remedy else text


class InputError(GripmarginError):
    """Something that was handed in is malformed: a value, a file, a key, an array."""

    def at(self, where: str) -> InputError:
        """Return the same fault under another name of its place."""
        return InputError(where, self.found, self.expected, self.remedy)

    def of(self, file: str) -> InputError:
        """Return the same fault as one of a file, which it names first."""
        return self if self.where.startswith(file) else self.at(f"{file}: {self.where}")


class BudgetError(InputError):
    """Working it out takes more than is spent on one question: what needs it is undecided."""


class RobotError(InputError):
    """A robot model cannot be read into a serial chain."""


class FaultError(GripmarginError):
    """The program itself failed, or the process that it ran in was ended: nothing was decided.

    Attributes:
        trace: Where it arose, as the interpreter prints it; may be empty.
    """

    trace = ""

    def __str__(self) -> str:
        return f"{self.where}: an error of the program itself: {self.found}. Nothing was decided; {self.remedy}"


class InputErrors(InputError):  # noqa: N818 - several of them
    """Several faults of one file, found in one reading.

    Attributes:
        problems: The faults, one error each; the fields of this error are those of the first.
    """

    def __init__(self, problems: Sequence[InputError]) -> None:
        first = problems[0]
        super().__init__(first.where, first.found, first.expected, first.remedy)
        self.problems = tuple(problems)

    def of(self, file: str) -> InputError:
        """Return the same faults as those of a file, which they name first."""
        return InputErrors([problem.of(file) for problem in self.problems])

    def __reduce__(self) -> tuple[type[InputErrors], tuple[tuple[InputError, ...]]]:
        return InputErrors, (self.problems,)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)
