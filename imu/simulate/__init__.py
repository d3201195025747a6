"""A simulated golfer with modelled sensors: movement, measurement and truth, from a seed.

How a swing is made: ``habits`` of a golfer (``population`` draws some) and ``double_pendulum``
(the reference downswing) → ``golfer`` (one swing as joint coordinates) on ``paths`` (smooth
curves) → ``kinematics`` (exact rates and forces). A session: a ``plan`` is played on a
``timeline`` with ``strokes`` and ``movements``; ``profiles`` and ``sensor`` make the streams,
``setup_faults`` what can be strapped on wrongly, ``truth`` and ``session_truth`` say what really
happened; ``session`` puts it together. ``sample`` makes the recordings shipped with the program,
``write`` any other session as plain files. The ``virtual_link`` modules play the sensors over a
radio that is not there.
"""
