"""What the files of a recording hold: topics with their types, and the messages of one type."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.files.source import printable
from gripmargin.motion.trajectory import MAX_SAMPLES

MAX_MESSAGE: Final = 1_000_000  # [bytes]; a joint state of a hundred joints has some 5 kB
MAX_TOPICS: Final = 10_000


@dataclass
class Topic:
    """A topic of a recording.

    Attributes:
        name: Such as "/joint_states".
        kind: Type of its messages, such as "sensor_msgs/msg/JointState".
        wanted: Whether its messages are kept.
        count: Number of messages.
        messages: Time of receipt [ns] and content of each, in the order of the file; only of wanted topics.
    """

    name: str
    kind: str
    wanted: bool
    count: int = 0
    messages: list[tuple[int, bytes]] = field(default_factory=list)


@dataclass
class Recording:
    """What is found in the files of a recording.

    Attributes:
        kind: Type of messages that are kept.
        only: Topic that is kept; None: all of that type.
        topics: By name and type.
    """

    kind: str
    only: str | None
    topics: dict[tuple[str, str], Topic] = field(default_factory=dict)

    def topic(self, name: str, kind: str) -> Topic:
        """Return the topic of a name and type, a new one where it is not known yet."""
        if (name, kind) not in self.topics:
            if len(self.topics) >= MAX_TOPICS:
                raise InputError("recording", f"more than {MAX_TOPICS} topics", "fewer topics")
            wanted = kind == self.kind and self.only in (None, name)
            self.topics[name, kind] = Topic(name, kind, wanted)
        return self.topics[name, kind]

    def add(self, path: Path, topic: Topic, encoding: str, received: int, content: bytes) -> None:
        """Count a message, and keep it where it is wanted.

        Raises:
            InputError: A wanted message in another encoding than CDR, or too large, or one too many.
        """
        topic.count += 1
        if not topic.wanted:
            return
        if encoding == "cdr" and len(content) <= MAX_MESSAGE and topic.count <= MAX_SAMPLES:
            topic.messages.append((received, content))
            return
        where = f"{path}, topic '{printable(topic.name)}'"
        if encoding != "cdr":
            raise InputError(where, f"messages encoded as '{printable(encoding)}'", "messages encoded as 'cdr'")
        if len(content) > MAX_MESSAGE:
            raise InputError(where, f"a message of {len(content) / 1e6:.4g} MB", f"at most {MAX_MESSAGE / 1e6:g} MB")
        raise InputError(where, f"more than {MAX_SAMPLES} messages", "fewer", "split the recording")
