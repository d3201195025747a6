"""Which way up one sensor was, from its own accelerometer and gyroscope, with no second sensor.

For whoever has a single stream: ``orientation.estimate_inclination`` is the way in. The analysis
of a recording goes another way, tying forearm and club together by the joint between them
(``imu.fusion.session``), and uses nothing of this folder. ``tests/reference/test_broad.py`` holds
it against open data with an optical reference.
"""
