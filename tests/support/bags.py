"""Recordings of joint states, as the writer of the library rosbags writes them."""

import numpy as np
from rosbags.rosbag2 import CompressionFormat, StoragePlugin, Writer
from rosbags.typesys import Stores, get_typestore

from gripmargin.motion.chain import Chain

STORE = get_typestore(Stores.LATEST)
KIND = "sensor_msgs/msg/JointState"
STORAGES = {"sqlite3": StoragePlugin.SQLITE3, "mcap": StoragePlugin.MCAP}
START = 1_700_000_000_123_456_789  # [ns]
STEP = 4_000_001


def arm(names=("shoulder", "elbow")):
    return Chain(links=np.tile(np.eye(4), (3, 1, 1)), revolute=(True, True), names=names, source="arm")


def state(i, *, names=("shoulder", "elbow"), q=None, qd=(), stamp=None, frame=""):
    """A joint state at step i: the shoulder turns at 1 rad/s, the elbow at -0.5 rad/s."""
    t = 1e-9 * i * STEP
    stamp = START + i * STEP if stamp is None else stamp
    known = {"shoulder": 0.1 + t, "elbow": 0.2 - 0.5 * t}
    q = [known.get(name, 9.0) for name in names] if q is None else q
    types = STORE.types
    header = types["std_msgs/msg/Header"](
        stamp=types["builtin_interfaces/msg/Time"](sec=stamp // 10**9, nanosec=stamp % 10**9), frame_id=frame
    )
    return types[KIND](
        header=header,
        name=list(names),
        position=np.array(q, dtype=float),
        velocity=np.array(qd, dtype=float),
        effort=np.zeros(0),
    )


def write(folder, states, *, storage="sqlite3", mode=None, topic="/joint_states", more=(), received=None, version=9):
    writer = Writer(folder, version=version, storage_plugin=STORAGES[storage])
    if mode is not None:
        writer.set_compression(mode, CompressionFormat.ZSTD)
    with writer:
        connection = writer.add_connection(topic, KIND, typestore=STORE)
        for i, message in enumerate(states):
            raw = message if isinstance(message, bytes) else STORE.serialize_cdr(message, KIND)
            writer.write(connection, START + i * STEP if received is None else received[i], raw)
        for name, kind, messages in more:
            connection = writer.add_connection(name, kind, typestore=STORE)
            for i, message in enumerate(messages):
                writer.write(connection, START + i, STORE.serialize_cdr(message, kind))
    return folder


def text(words):
    return STORE.types["std_msgs/msg/String"](data=words)


def states_of(n=6, **more):
    return [state(i, **more) for i in range(n)]


EXACT = np.arange(6) * STEP / 1e9
