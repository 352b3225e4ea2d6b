"""Joint states from rosbag2 recordings: both storages, every compression, names, stamps, damage.

The recordings are written by the writer of the library rosbags, which reads none of the files here, but for chunks
packed by lz4 and chunks with false sizes, which it does not write; those follow mcap.dev/spec.
"""

import shutil

import numpy as np
import pytest
from rosbags.rosbag2 import CompressionMode, Reader, Writer

import gripmargin as gm
from gripmargin import read_job, read_trajectory
from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain
from gripmargin.motion.program import ProgramMotion
from support.bags import EXACT, KIND, START, STEP, STORAGES, STORE, arm, state, states_of, text, write

# ---- what is there ----


@pytest.mark.parametrize("version", [8, 9])
@pytest.mark.parametrize("mode", [None, CompressionMode.FILE, CompressionMode.MESSAGE, CompressionMode.STORAGE])
def test_every_storage_and_compression(tmp_path, storage, mode, version):
    if mode is CompressionMode.STORAGE:
        storage = "mcap"  # sqlite3 has no compression of its own
    folder = write(tmp_path / "bag", states_of(), storage=storage, mode=mode, version=version)
    trajectory = read_trajectory(folder)
    np.testing.assert_array_equal(trajectory.t, EXACT)  # to the last digit, from stamps of 1.7e18 ns
    np.testing.assert_array_equal(trajectory.q, [m.position for m in states_of()])
    assert trajectory.names == ("shoulder", "elbow")
    assert trajectory.qd is None
    assert trajectory.source == "bag"
    assert trajectory.notes == ("Measured: 6 joint states; time 0 is the stamp 1700000000.123456789 s.",)


def test_one_file_of_a_recording(bag, storage):
    folder = bag(states_of())
    (file,) = (path for path in folder.iterdir() if path.suffix in (".mcap", ".db3"))
    np.testing.assert_array_equal(read_trajectory(file).t, EXACT)


def test_long_recordings_agree_with_the_reader_of_the_library(bag):
    rng = np.random.default_rng(3)
    walk = np.cumsum(rng.normal(0, 1e-3, (12_000, 2)), axis=0)  # several chunks of MCAP
    folder = bag([state(i, q=q, frame="base") for i, q in enumerate(walk)])
    with Reader(folder) as reader:
        raw = [STORE.deserialize_cdr(content, KIND) for _, _, content in reader.messages()]
    trajectory = read_trajectory(folder)
    np.testing.assert_array_equal(trajectory.q, [m.position for m in raw])
    np.testing.assert_array_equal(trajectory.q, walk)


def test_folder_with_a_recording_in_two_files(tmp_path, storage):
    ending = {"sqlite3": ".db3", "mcap": ".mcap"}[storage]
    whole = write(tmp_path / "whole", states_of()[:3], storage=storage)
    rest = write(tmp_path / "rest", states_of()[3:], storage=storage)
    shutil.copy(rest / f"rest{ending}", whole)
    metadata = whole / "metadata.yaml"
    described = metadata.read_text().replace("message_count: 3", "message_count: 6")
    # early versions wrote the folder before the name
    described = described.replace(f"  - whole{ending}\n", f"  - whole/whole{ending}\n  - whole/rest{ending}\n")
    metadata.write_text(described)
    np.testing.assert_array_equal(read_trajectory(whole).t, EXACT)


@pytest.mark.parametrize(
    "rates",
    [
        lambda i: (1.0, -0.5),
        lambda i: (0.9, -0.45),
        lambda i: (0.0, 0.0),
        lambda i: (1.0, np.nan),
        lambda i: (1.0, -0.5) if i else (),
    ],
)
def test_velocities_are_not_used_and_the_report_says_so(bag, rates):
    trajectory = read_trajectory(bag([state(i, qd=rates(i)) for i in range(60)]))
    assert trajectory.qd is None
    assert trajectory.notes[1].startswith("Velocities in the messages are not used, for drivers filter them")


def test_filtered_velocities_hide_no_peak(tmp_path):
    # A move of 0.3 s behind a first-order filter of 5 Hz: its speeds alone would give 27.4 of 32.1 rad/s^2.
    t = np.arange(500) * 2e-3
    s = np.clip((t - 0.3) / 0.3, 0, 1)
    q = 0.5 * (10 * s**3 - 15 * s**4 + 6 * s**5)
    speed, filtered = 0.5 / 0.3 * (30 * s**2 - 60 * s**3 + 30 * s**4), np.zeros(t.size)
    for i in range(1, t.size):
        filtered[i] = filtered[i - 1] + (1 - np.exp(-2e-3 * 2 * np.pi * 5)) * (speed[i] - filtered[i - 1])
    states = [
        state(i, q=(a, 0.0), qd=(b, 0.0), stamp=START + i * 2_000_000)
        for i, (a, b) in enumerate(zip(q, filtered, strict=True))
    ]
    chain = gm.chain_from_axes([np.eye(4)] * 2, [[0, 0, 1]] * 2, [True] * 2, np.eye(4), names=("shoulder", "elbow"))
    trajectory = read_trajectory(write(tmp_path / "bag", states), robot=chain)
    peak = np.abs(ProgramMotion.of(trajectory, chain).at.angular_acceleration).max()
    assert peak == pytest.approx(10 / np.sqrt(3) * 0.5 / 0.3**2, rel=0.01)  # of a quintic from rest to rest


@pytest.mark.parametrize("rates", [(57.3, -28.6), (0.5, -0.25), (2.0, -1.0), (-1.0, 0.5), (1e300, 0.0)])
def test_velocities_show_a_wrong_unit_or_clock(bag, rates):
    # A recording played back at half its rate and stamped anew has accelerations four times too small.
    with pytest.raises(InputError, match=r"joint 'shoulder': found a travel that is .* times that of the velocities"):
        read_trajectory(bag(states_of(60, qd=rates)))


# ---- joints by name ----


def test_order_of_names_may_change_and_other_joints_may_be_there(bag):
    orders = [("shoulder", "elbow"), ("elbow", "shoulder"), ("finger", "elbow", "shoulder")]
    folder = bag([state(i, names=orders[i % 3]) for i in range(6)])
    trajectory = read_trajectory(folder, robot=arm(("elbow", "shoulder")))
    np.testing.assert_array_equal(trajectory.q, [m.position[::-1] for m in states_of()])
    assert trajectory.names == ("elbow", "shoulder")


@pytest.mark.parametrize("seed", range(5))
def test_disorder_changes_nothing(bag, seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 80))
    q = rng.normal(size=(n, 2))
    arrival = np.argsort(np.arange(n) + rng.uniform(0, 20, n))  # up to 80 ms late
    sent = []
    for i in arrival:
        names = [("shoulder", q[i, 0]), ("elbow", q[i, 1]), ("finger", 9.0)][: rng.integers(2, 4)]
        names = [names[k] for k in rng.permutation(len(names))]
        message = state(i, names=[name for name, _ in names], q=[value for _, value in names])
        sent += [message] * int(rng.integers(1, 3))
        sent += [state(i, names=("finger",), q=(rng.normal(),))] * int(rng.integers(0, 2))
    trajectory = read_trajectory(bag(sent), robot=arm())
    np.testing.assert_array_equal(trajectory.q, q)
    np.testing.assert_array_equal(trajectory.t, np.arange(n) * STEP / 1e9)


def test_messages_of_the_gripper_are_left_out_and_counted(bag):
    mixed = [m for i in range(6) for m in (state(i), state(i, names=("finger",)))]
    folder = bag(mixed)
    trajectory = read_trajectory(folder, robot=arm())
    np.testing.assert_array_equal(trajectory.t, EXACT)
    assert trajectory.notes[-1] == "6 messages of other joints on the same topic are left out."
    with pytest.raises(InputError, match="message 1: found the joints finger, where others have shoulder, elbow"):
        read_trajectory(folder)  # without a robot nobody knows which joints are meant


def test_states_that_come_in_several_messages_are_put_together(bag):
    """Two drivers on one topic: the same stamps, either first; a rail that stands has any."""
    halves = [state(i, names=names) for i in range(6) for names in [("shoulder",), ("elbow",)][:: 1 - 2 * (i % 2)]]
    rail = [state(40, names=("rail",), q=(0.25,)), state(9, names=("finger",))]
    robot = Chain(links=np.tile(np.eye(4), (4, 1, 1)), revolute=(True, True, True), names=("elbow", "rail", "shoulder"))
    trajectory = read_trajectory(bag([*halves[:5], *rail, *halves[5:]]), robot=robot)
    np.testing.assert_array_equal(trajectory.t, EXACT)
    expected = [[m.position[1], 0.25, m.position[0]] for m in states_of()]
    np.testing.assert_array_equal(trajectory.q, expected)
    assert trajectory.notes[1:] == (
        "Each state of the robot comes in 3 messages: put together by their stamps.",
        "1 messages of other joints on the same topic are left out.",
    )


@pytest.mark.parametrize("lost", [10, 11])
def test_half_the_stamps_have_to_be_whole(bag, lost):
    """Of twenty stamps some lack the elbow: up to half of them are left out, and said."""
    halves = [state(i, names=n) for i in range(20) for n in (("shoulder",), ("elbow",)) if i >= lost or n[0] > "f"]
    folder = bag(halves)
    if lost == 11:
        with pytest.raises(InputError, match="the joints shoulder alone, of other times than the others"):
            read_trajectory(folder, robot=arm())
        return
    trajectory = read_trajectory(folder, robot=arm())
    np.testing.assert_array_equal(trajectory.q, [state(i).position for i in range(10, 20)])
    assert trajectory.notes[-1] == "10 stamps without all of them are left out."


def test_parts_by_a_clock_that_was_set_or_of_two_publishers(bag, tmp_path):
    def half(i, name, **more):
        return state(i, names=(name,), **more)

    both = [half(i, name) for i in (50, 51, 52, 0, 1) for name in ("shoulder", "elbow")]
    with pytest.raises(InputError, match=r"found a stamp 0\.2.* s behind that of an earlier message"):
        read_trajectory(bag(both), robot=arm())
    again = [half(i, name) for i in range(4) for name in ("shoulder", "elbow")] + [half(2, "elbow", q=(9.0,))]
    with pytest.raises(InputError, match="message 8: found the stamp of message 5 with other values"):
        read_trajectory(write(tmp_path / "other", again), robot=arm())


@pytest.mark.parametrize(
    ("halves", "says"),
    [
        (
            [state(i, names=("shoulder",)) for i in range(6)],
            "message 0: found the joints shoulder alone, expected all of the robot's joints shoulder, elbow, each from "
            "one kind of message; record the topic that has them all",
        ),
        (
            [
                state(i, names=n, stamp=START + i * STEP + len(n[0]))
                for i in range(6)
                for n in (("shoulder",), ("elbow",))
            ],
            "message 0: found the joints shoulder alone, of other times than the others, expected a stamp that the "
            "joints shoulder, elbow have in common",
        ),
        (
            [state(i, names=n) for i in range(6) for n in (("shoulder",), ("elbow", "shoulder"))],
            "message 0: found the joints shoulder alone, expected all of the robot's joints",
        ),
    ],
)
def test_parts_that_do_not_go_together(bag, halves, says):
    with pytest.raises(InputError, match=says):
        read_trajectory(bag(halves), robot=arm())


def test_joints_of_another_robot(bag):
    with pytest.raises(InputError, match="found messages of the joints shoulder, elbow, expected the robot's a, b"):
        read_trajectory(bag(states_of()), robot=arm(("a", "b")))


def test_robot_without_names(bag):
    with pytest.raises(InputError, match=r"name them in the order of the robot's axes \(\[robot\] joint_names\)"):
        read_trajectory(bag(states_of()), robot=arm(()))


def test_degrees(bag):
    with pytest.raises(InputError, match=r"message 1, joint 'shoulder': found an angle of 15 rad"):
        read_trajectory(bag([state(0), state(1, q=(15.0, 0.0)), state(2)]), robot=arm())


@pytest.mark.parametrize(
    ("message", "says"),
    [
        (state(1, q=(1.0,)), "message 1: found 1 positions for 2 joints, expected one a joint"),
        (state(1, qd=(1.0,)), "message 1: found 1 velocities for 2 joints, expected one a joint, or none"),
        (state(1, names=("elbow", "elbow")), "message 1: found the joint 'elbow' twice, expected each joint once"),
        (state(1, names=("a\nb", "c")), r"message 1: found the joint name 'a\\nb', expected plain text"),
        (state(1, names=[f"j{i}" for i in range(201)]), "message 1: found 201 joints, expected at most 200"),
        (state(1, q=(0.1, np.nan)), "message 1, joint 'elbow': found nan, expected a finite number"),
        (state(1, names=()), r"message 1: found the joints \(none\), where others have shoulder, elbow"),
    ],
)
def test_messages_that_are_wrong(bag, message, says):
    with pytest.raises(InputError, match=says):
        read_trajectory(bag([state(0), message, state(2)]))


@pytest.mark.parametrize("count", [0, 1])
def test_too_few_messages(bag, count):
    with pytest.raises(InputError, match="no messages" if count == 0 else "1 message of the robot's joints"):
        read_trajectory(bag(states_of(count)))


# ---- topics ----


def test_the_topic_is_found_among_others(bag):
    folder = bag(states_of(), more=[("/words", "std_msgs/msg/String", [text("a")])])
    assert read_trajectory(folder).samples == 6


def test_several_topics_of_joint_states_need_a_choice(bag):
    folder = bag(states_of(), more=[("/other", KIND, states_of(3))])
    with pytest.raises(InputError, match=r"motion on 2 topics: '/joint_states' \(6 joint states\), '/other' \(3 joint"):
        read_trajectory(folder)
    assert read_trajectory(folder, topic="/other").samples == 3


def test_no_such_topic(bag):
    folder = bag(states_of(), more=[("/words", "std_msgs/msg/String", [])])
    for topic in ("/words", "/nowhere"):
        with pytest.raises(
            InputError, match=f"found the topics .*, expected the topic '{topic}' of type sensor_msgs/Joint"
        ):
            read_trajectory(folder, topic=topic)


def test_no_joint_states(tmp_path, storage):
    with Writer(tmp_path / "bag", version=9, storage_plugin=STORAGES[storage]) as writer:
        connection = writer.add_connection("/words", "std_msgs/msg/String", typestore=STORE)
        writer.write(connection, 1, STORE.serialize_cdr(text("a"), "std_msgs/msg/String"))
    with pytest.raises(InputError, match=r"found the topics '/words' of type std_msgs/msg/String, expected a topic of"):
        read_trajectory(tmp_path / "bag")


# ---- stamps ----


def test_without_stamps_the_time_of_receipt_counts(bag):
    received = [START + 10**6 * i for i in range(6)]
    trajectory = read_trajectory(bag(states_of(stamp=0), received=received))
    np.testing.assert_array_equal(trajectory.t, np.arange(6) / 1e3)
    assert "The headers have no stamps: times are those of receipt" in trajectory.notes[1]


def test_stamps_in_some_headers_only(bag):
    with pytest.raises(InputError, match="found 1 messages without a stamp, message 2 the first, among 3"):
        read_trajectory(bag([state(0), state(1), state(2, stamp=0)]))


def test_messages_that_overtook_each_other_are_put_in_order(bag):
    states = states_of()
    states[2], states[3] = states[3], states[2]
    trajectory = read_trajectory(bag(states))
    np.testing.assert_array_equal(trajectory.t, EXACT)
    np.testing.assert_array_equal(trajectory.q, [m.position for m in states_of()])
    assert trajectory.notes[1] == "1 messages came up to 4 ms late: put in the order of their stamps."


def test_a_clock_that_was_set_back_is_refused(bag):
    states = [*states_of(60), *states_of(60)]
    with pytest.raises(
        InputError, match=r"message 60: found a stamp 0\.236 s behind that of an earlier message \(59 are"
    ):
        read_trajectory(bag(states))


def test_copies_are_left_out_and_contradictions_refused(bag, tmp_path, storage):
    trajectory = read_trajectory(bag([state(0), state(1), state(1), state(2)]))
    np.testing.assert_array_equal(trajectory.t, EXACT[:3])
    assert trajectory.notes[1] == "1 messages with stamp and values of another are left out."
    folder = write(tmp_path / "other", [state(0), state(1), state(1, q=(9.0, 9.0))], storage=storage)
    with pytest.raises(InputError, match=r"message 2: found the stamp of message 1 with other values \(1 such pairs"):
        read_trajectory(folder)


def test_the_same_stamp_throughout(bag):
    with pytest.raises(InputError, match="found messages of one time only"):
        read_trajectory(bag([state(0)] * 3))


# ---- in a job ----


def test_a_job_names_the_recording_and_its_topic(tmp_path, bag):
    from pathlib import Path

    good = Path(__file__).parents[1] / "bad_input" / "good"
    shutil.copy(good / "arm.urdf", tmp_path)
    names = ("quill", "elbow", "shoulder")
    states = [state(i, names=names, q=(0.1, 0.2, 0.1 + 0.01 * i)) for i in range(6)]
    bag(states, more=[("/gripper", KIND, states_of(2))])
    job = (good / "job.toml").read_text()
    job = job.replace('"program.csv"', '"bag"\ntopic = "/joint_states"')
    job = job[: job.index("phases = [")] + job[job.index("[nest]") :]
    (tmp_path / "job.toml").write_text(job)
    trajectory = read_job(tmp_path / "job.toml").trajectory
    assert trajectory.names == ("shoulder", "elbow", "quill")
    np.testing.assert_allclose(trajectory.q[-1], [0.15, 0.2, 0.1])
