"""A part carried by three slides; what its report calls enough, read from the JSON, and how that is done by hand."""

import json

import numpy as np

import gripmargin as gm

STEP = 0.004


class Carried:
    """A part carried by three slides in moves from rest to rest; its figures, and the job that they make."""

    def __init__(self, seed):
        random = np.random.default_rng(seed)
        self.moves = [
            (f"move {i}", random.uniform(-0.4, 0.4, 3), float(random.uniform(0.35, 0.9)))
            for i in range(random.integers(1, 5))
        ]
        self.rates, self.labels = bool(random.integers(2)) or seed % 3 == 0, seed % 4 != 3
        self.pads = [(0.0, 0.0)] if random.integers(2) else [(-0.05, 0.0), (0.05, 0.01)]
        self.size = random.uniform(0.03, 0.045, 2)
        self.com = np.array([*random.uniform(-0.01, 0.01, 2), random.uniform(0.002, 0.02)])
        self.damping = None if random.integers(2) else 0.05
        self.mass, self.stiffness, self.strength = 0.8, float(10 ** random.uniform(7.3, 8.3)), 5e4
        self.stop = float(random.uniform(0.1, 0.3)) if seed % 2 else None
        self.targets = gm.Targets()
        report = gm.check_job(self.job(targets=gm.Targets(hold=1e-3, swing=1e-3, stop=1e-3)))
        low = {check.check: check.low for check in report.checks}
        above = random.uniform(1.05, 1.6, 3)
        if seed % 3 == 2:  # too much for the part as it swings, and not for the part at rest
            above[:2] = 0.9, (0.3 * low["hold"] + 0.7 * low["swing"]) / low["swing"]
        self.targets = gm.Targets(
            hold=above[0] * low["hold"], swing=above[1] * low["swing"], stop=above[2] * low.get("stop", 1.0)
        )

    def job(self, *, slow=(), shift=(0.0, 0.0), larger=1.0, stronger=1.0, stiffer=1.0, softer=1.0, **changes):
        rows, place, now = [], np.zeros(3), 0.0
        plan = [("rest", np.zeros(3), 0.1)]
        for label, way, time in self.moves:
            plan += [(label, way, time), ("rest", np.zeros(3), 0.1)]
        for label, way, time in plan:
            count = round(time / STEP)
            s = np.arange(1, count + 1) / count
            law = np.stack([10 * s**3 - 15 * s**4 + 6 * s**5, 30 * s**2 * (1 - s) ** 2, 60 * s * (1 - s) * (1 - 2 * s)])
            t = now + time * s
            k = 1.0
            for change in slow:
                whole = change["move"] is None
                # without labels a motion goes from one rest to the next
                at = now + time / 2
                inside = label == change["move"] if not whole else change["from"] <= at <= change["to"]
                k = min(k, change["factor"]) if inside else k
            columns = place + law[0][:, None] * way, law[1][:, None] * way / time, law[2][:, None] * way / time**2
            rows.append((label, t, k, *columns))
            place, now = place + way, now + time
        t, last = [0.0], 0.0
        for _, times, k, *_ in rows:
            for x in times:
                t.append(t[-1] + (x - last) / k)
                last = x
        q, qd, qdd = (np.concatenate([np.zeros((1, 3)), *(row[i] for row in rows)]) for i in (3, 4, 5))
        speed = np.concatenate([[1.0], *(np.full(row[1].size, row[2]) for row in rows)])[:, None]
        given = {"qd": speed * qd, "qdd": speed**2 * qdd} if self.rates else {}
        labels = ("rest", *(row[0] for row in rows for _ in row[1])) if self.labels else None
        damping = changes.pop("damping_ratio", self.damping)
        film = gm.PadMaterial(
            pull_off_stress=self.strength * stronger,
            shear_strength=self.strength * stronger,
            normal_stiffness=self.stiffness * stiffer,
            shear_stiffness=0.4 * self.stiffness * stiffer,
            damping_ratio=damping,
        )
        pads = tuple(
            gm.Pad.rectangle(f"{i}", film, larger * self.size, gm.pose((x + shift[0], y + shift[1], 0.0)))
            for i, (x, y) in enumerate(self.pads)
        )
        return gm.Job(
            name="carried",
            robot=gm.chain_from_axes([np.eye(4)] * 3, np.eye(3), [False] * 3, gm.pose(rpy=(np.pi, 0, 0))),
            trajectory=gm.JointTrajectory(t=np.array(t), q=q, moves=labels, **given),
            gripper=gm.Gripper(pads=pads),
            part=gm.Part(face="plane", rigid=True, mass=self.mass, com=self.com, inertia=[1e-3, 1.5e-3, 2e-3, 0, 0, 0]),
            stop=None if self.stop is None else gm.Stop(time=self.stop * softer),
            **({"targets": self.targets} | changes),
        )


def told(job, checks=None):
    """Findings as the JSON has them, and what the report says of each check."""
    report = gm.check_job(job, checks=checks)
    tree = json.loads(gm.report_json(report))
    return tree["findings"], {check["check"]: check["verdict"] for check in tree["checks"]}


def verdict(job, check):
    return next(str(result.verdict) for result in gm.check_job(job, checks=[check]).checks if result.check == check)


def advised(findings):
    """Every change of a check once; moves that are slowed together as one list."""
    found = {}
    for finding in findings:
        for remedy in finding["remedies"]:
            assert remedy["shown"] == (f"{remedy['text']}" in finding["remedy"] and _claimed(remedy, finding))
            if remedy["shown"]:
                found.setdefault((finding["check"], remedy["action"]), {})[json.dumps(remedy["figures"])] = remedy
    return {key: [remedy["figures"] for remedy in same.values()] for key, same in found.items()}


def _claimed(remedy, finding):
    """Whether the sentence says of this change that the check then passes."""
    after = finding["remedy"].split(remedy["text"], 1)
    return len(after) == 2 and after[1].split("; or ")[0].endswith("then it passes")


CARRIED = {
    "slow": lambda all_: {"slow": all_},
    "shift pads": lambda all_: {"shift": (all_[0]["x"], all_[0]["y"])},
    "larger pads": lambda all_: {"larger": all_[0]["factor"]},
    "strengthen": lambda all_: {"stronger": all_[0]["factor"]},
    "stiffen": lambda all_: {"stiffer": all_[0]["factor"]},
    "stop softer": lambda all_: {"softer": all_[0]["factor"]},
    "better data": lambda all_: {"damping_ratio": all_[0]["damping_ratio"]},
}
