"""Keeping an alarm quiet, mending, resetting: the commands against the real daemon.

The maxima (1, 12 and 72 hours by priority, 30 days for mending) are this project's own choice.
"""

from farm import Daemon


def test_an_alarm_is_kept_quiet_mended_and_given_back_but_no_limit_for_people(daemon: Daemon) -> None:
    daemon.start()
    dry = "humidity-low:tent"
    assert f"{dry} is quiet for 2h" in daemon.run("shelve", dry, "--for", "2h", "--why", "hosing")
    assert "12 h at most" in daemon.run("shelve", dry, "--for", "13h", fails=True)
    assert f"{dry} is told again" in daemon.run("shelve", dry, "--end")
    assert "not kept quiet" in daemon.run("shelve", dry, "--end", fails=True)
    assert "protects people" in daemon.run("shelve", "co2-people-15000:tent", fails=True)
    assert "no such alarm" in daemon.run("shelve", "no-such:tent", fails=True)
    assert "--why" in daemon.run("mend", dry, "--for", "3d", fails=True)
    assert "out of service for 3d" in daemon.run("mend", dry, "--for", "3d", "--why", "sensor sent in")
    assert "720 h at most" in daemon.run("mend", dry, "--for", "31d", "--why", "later", fails=True)
    assert f"{dry} is watched again" in daemon.run("mend", dry, "--back")
    assert "must be over" in daemon.run("reset", dry, fails=True)
