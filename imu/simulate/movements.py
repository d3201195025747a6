"""What a player does between strokes: none of it is a swing, all of it must be told from one."""

from __future__ import annotations

import math

from imu.simulate.habits import SwingNumbers
from imu.simulate.timeline import Timeline
from imu.units import DEG


def stand_still(line: Timeline, seconds: float = 2.0) -> None:
    """Stand with the club low."""
    start = line.now
    line.wait(seconds)
    line.note("stand", start)


def walk(line: Timeline, seconds: float | None = None) -> None:
    """A few steps away and back, arm and club swinging."""
    start = line.now
    seconds = seconds or line.span(2.6, 5.0)
    leg = 0.5 * (seconds - 0.6)
    away = line.span(60.0, 150.0) * DEG * (1.0 if line.rng.random() < 0.5 else -1.0)
    reach = line.span(0.8, 1.2) * leg
    home = (line.paths.last("hub_x"), line.paths.last("hub_y"))
    place = (home[0] - reach * math.sin(away), home[1] - reach * math.cos(away))
    end = start + seconds
    turn = start + 0.3 + leg
    line.paths.move(start, start + 0.7, {"heading": away})
    line.paths.move(turn - 0.3, turn + 0.4, {"heading": away - math.copysign(math.pi, away)})
    line.paths.move(end - 0.8, end, {"heading": 0.0})
    line.paths.move(start + 0.2, turn, {"hub_x": place[0], "hub_y": place[1]})
    line.paths.move(turn + 0.05, end - 0.2, {"hub_x": home[0], "hub_y": home[1]})
    steps = max(2, round(1.9 * seconds))
    strides = max(1, steps // 2)
    line.paths.oscillate(start, end, "hub_z", 0.02, steps)
    line.paths.oscillate(start, end, "arm_angle", line.span(8.0, 16.0) * DEG, strides)
    line.paths.oscillate(start, end, "lag", line.span(3.0, 8.0) * DEG, strides, 0.8)
    line.paths.oscillate(start, end, "club_elevation", line.span(2.0, 6.0) * DEG, strides, 2.0)
    line.now = end
    line.note("walk", start)


def twirl(line: Timeline) -> None:
    """Turn the club about in the fingers."""
    start, seconds = line.now, line.span(1.6, 2.6)
    end = start + seconds
    line.paths.oscillate(start, end, "club_twist", line.span(60.0, 170.0) * DEG, 2)
    line.paths.oscillate(start, end, "lag", line.span(15.0, 40.0) * DEG, 1)
    line.paths.oscillate(start, end, "club_elevation", line.span(8.0, 20.0) * DEG, 1, 1.0)
    line.paths.oscillate(start, end, "arm_roll", line.span(10.0, 30.0) * DEG, 2)
    line.now = end
    line.note("twirl", start)


def rehearsal(line: Timeline, numbers: SwingNumbers) -> None:
    """Half a backswing in slow motion and back, stopping short of the ball's place."""
    start = line.now
    line.address(numbers, lift=0.03)
    line.wait(line.span(0.3, 0.6))
    back, lag = line.span(-105.0, -55.0) * DEG, line.span(45.0, 80.0) * DEG
    roll = 0.5 * back
    line.settle({"arm_angle": back, "lag": lag, "arm_roll": roll}, line.span(1.0, 1.4))
    line.wait(line.span(0.1, 0.4))
    line.settle(
        {"arm_angle": -18.0 * DEG, "lag": 25.0 * DEG, "arm_roll": -8.0 * DEG}, line.span(0.9, 1.4)
    )
    line.wait(line.span(0.2, 0.5))
    line.note("rehearsal", start)
    line.stand()


def point(line: Timeline) -> None:
    """Lift the club to point it at the target."""
    start = line.now
    line.settle(
        {
            "arm_tilt": 10.0 * DEG,
            "arm_angle": line.span(55.0, 80.0) * DEG,
            "lag": -8.0 * DEG,
            "club_tilt": 10.0 * DEG,
        },
        line.span(0.9, 1.2),
    )
    line.wait(line.span(0.6, 1.2))
    line.stand()
    line.note("point", start)


def tap(line: Timeline, count: int = 3) -> None:
    """Touch the sensors together, to line up their clocks."""
    start = line.now
    line.settle({"lag": 60.0 * DEG, "arm_angle": 20.0 * DEG}, 0.6)
    blows = [line.now + 0.2 + 0.35 * index for index in range(count)]
    for time in blows:
        blow = line.span(25.0, 60.0)
        line.ring(time, blow, 0.9 * blow, 0.2)
    line.wait(0.2 + 0.35 * count)
    line.stand(0.8)
    line.note("tap", start, blows_s=blows)


def drop_club(line: Timeline) -> None:
    """The club slips out of the hand, lies, and is picked up."""
    start = line.now
    wrist = line.wrist_at_rest()
    fall = math.sqrt(2.0 * (wrist[2] - 0.03) / 9.81)
    line.let_go(wrist)
    held = line.paths.posture()
    line.paths.hold(line.now, ["place_z", "club_tilt", "lag", "club_elevation", "grip"])
    line.paths.add("grip", line.now + 0.10, 0.0)
    land = line.now + 0.05 + fall
    line.paths.hold(line.now + 0.05, ["place_z"])
    line.paths.add("place_z", land, 0.03, -0.8 * 9.81 * fall, -9.81)
    line.paths.add("place_z", land + 0.02, 0.015)
    line.paths.add("place_z", land + 0.20, 0.02)
    line.paths.add("club_tilt", land + 0.05, 88.0 * DEG)
    line.paths.add("club_tilt", land + 0.20, 86.0 * DEG)
    line.paths.add("lag", land + 0.05, held["lag"] + line.span(-30.0, 30.0) * DEG)
    line.ring(land, line.span(120.0, 260.0), 0.0, 3.0)
    line.ring(land + 0.06, line.span(60.0, 160.0), 0.0, 2.0)
    line.now = land + line.span(1.5, 3.0)
    line.note("drop", start)
    line.settle({"place_z": float(wrist[2]), **{k: held[k] for k in ("club_tilt", "lag")}}, 1.1)
    line.settle({"grip": 1.0}, 0.5)


def change_club(line: Timeline) -> None:
    """Lay the club down, move its sensor to another, take that up."""
    start = line.now
    wrist = line.wrist_at_rest()
    held = line.paths.posture()
    line.let_go(wrist)
    line.settle({"grip": 0.0}, 0.5)
    line.settle({"place_z": 0.9, "club_tilt": 80.0 * DEG, "lag": 30.0 * DEG}, 1.0)
    line.paths.oscillate(line.now, line.now + 4.0, "club_twist", 1.2, 3)
    line.wait(4.0)
    line.settle({"place_z": float(wrist[2]), "club_tilt": held["club_tilt"]}, 0.9)
    line.settle({"lag": held["lag"], "grip": 1.0}, 0.7)
    line.note("change club", start)


def take_off(line: Timeline, seconds: float = 6.0) -> None:
    """Lay the club down, take the forearm sensor off and put it on the bench."""
    start = line.now
    wrist = line.wrist_at_rest()
    line.let_go(wrist)
    line.settle({"grip": 0.0}, 0.5)
    line.settle({"place_z": 0.04, "club_tilt": 86.0 * DEG, "lag": 40.0 * DEG}, 1.2)
    line.settle({"arm_roll": 1.2, "arm_angle": 40.0 * DEG, "arm_elevation": 0.3}, 0.8)
    line.settle({"arm_roll": -1.4, "arm_angle": 95.0 * DEG, "hub_z": 0.9}, 0.9)
    line.settle({"arm_roll": 2.6, "arm_tilt": 60.0 * DEG, "hub_x": 0.3}, 0.8)
    line.settle({"arm_angle": 88.0 * DEG, "hub_z": 0.75, "worn": 0.0}, 0.7)
    line.wait(seconds)
    line.note("sensors off", start)


def calibrate(line: Timeline, seconds: float = 5.0) -> None:
    """Stand still, roll the forearm while the other hand holds the club, roll the club."""
    start = line.now
    line.wait(3.0)
    line.note("stand still", start)
    start = line.now
    wrist = line.wrist_at_rest()
    line.let_go(wrist)
    line.settle({"grip": 0.0}, 0.6)
    line.paths.oscillate(line.now, line.now + seconds, "arm_roll", 60.0 * DEG, 4)
    line.now += seconds
    line.settle({"grip": 1.0}, 0.6)
    line.note("roll forearm", start)
    start = line.now
    line.paths.oscillate(line.now, line.now + seconds, "club_twist", 70.0 * DEG, 4)
    line.now += seconds
    line.wait(0.5)
    line.note("roll club", start)
