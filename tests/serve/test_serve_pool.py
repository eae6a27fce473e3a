"""Jobs and the processes that do them: fair, bounded, and nothing lost or half-kept when something is killed."""

from __future__ import annotations

import os
import signal
import time
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.serve.kept import Job, new_token
from tripplan.serve.line import FairLine
from tripplan.serve.pool import FullError


def draft_of(settings, nights=2):
    return {
        "name": "", "van": settings.vans[1], "party": {"name": "party", "adults": 2, "children": 0, "pets": 0},
        "outfit": {"name": "car and van", "car_mass_kg": 1900.0, "van_mass_kg": 1300.0, "height_m": 2.6, "width_m": 2.3, "length_m": 11.5},
        "pick_up": {"place": "Long Lee", "time": "2027-02-03T10:00"}, "return": {"place": "Long Lee", "time": f"2027-02-{3 + nights:02}T15:00"},
        "full_water": True, "driving": {"max_h": 3.0, "first_day_max_h": 2.0},
    }  # fmt: skip


def job_of(pool, session="s", nights=2):
    return Job(new_token(), session, "plan", {"draft": draft_of(pool._settings, nights), "steps": []}, "waiting", 0, "")


def until(what, most_s=90.0, keep=()):
    """Wait until something holds, seen by somebody who waits for ``keep``."""
    end = time.monotonic() + most_s
    while time.monotonic() < end:
        if what():
            return True
        for pool, job in keep:
            pool.seen(job)
        time.sleep(0.05)
    return False


def state(kept, job):
    found = kept.job(job, time.time())
    return found.state if found else "gone"


@given(st.lists(st.tuples(st.sampled_from("abcd"), st.booleans()), max_size=40))
def test_the_line_is_fair_and_keeps_everybody(asked):
    """Round robin: between two turns of a session no other has two; all are served; `ahead` tells the very order."""
    line = FairLine()
    for n, (session, _) in enumerate(asked):
        line.add(session, f"{session}{n}")
    expected = sorted(((f"{s}{n}", line.ahead(f"{s}{n}")) for n, (s, _) in enumerate(asked)), key=lambda pair: pair[1])
    taken = []
    while (found := line.take()) is not None:
        taken.append(found[1])
    assert taken == [job for job, _ in expected]
    assert sorted(taken) == sorted(f"{s}{n}" for n, (s, _) in enumerate(asked))
    for session in "abcd":
        turns = [k for k, job in enumerate(taken) if job[0] == session]
        for a, b in pairwise(turns):
            between = [job[0] for job in taken[a + 1 : b]]
            assert all(between.count(other) <= 1 for other in "abcd")
        own = [int(job[1:]) for job in taken if job[0] == session]
        assert own == sorted(own)


def test_a_killed_worker_loses_nothing(pool_of):
    """Kill -9 in the middle of a job: another process takes it up, and the plan is whole."""
    pool, kept, counts = pool_of(workers=1)
    pool.start()
    job = job_of(pool, nights=7)
    pool.add(job)
    assert until(lambda: state(kept, job.id) == "running", keep=[(pool, job.id)])
    time.sleep(0.3)
    os.kill(pool.processes()[0], signal.SIGKILL)
    assert until(lambda: state(kept, job.id) == "done", keep=[(pool, job.id)])
    assert kept.job(job.id, time.time()).run == 2
    assert kept.made(job.id, time.time()).kind == "plan"
    assert kept.paper(job.id, "plan.json", time.time())
    assert counts["workers_ended"] == 1


def test_a_new_server_takes_up_what_the_last_one_left(pool_of):
    """Jobs that ran or waited when a server ended are done by the next; a result of the old run is not taken."""
    pool, kept, _ = pool_of(workers=1)
    jobs = [job_of(pool, f"s{n}") for n in range(3)]
    for job in jobs:
        kept.add_job(job, time.time())
    old_run = kept.begin(jobs[0].id)  # as if the last server had handed it out and died
    pool.start()
    for job in jobs:
        assert until(lambda job=job: state(kept, job.id) == "done", keep=[(pool, j.id) for j in jobs])
    assert kept.job(jobs[0].id, time.time()).run == old_run + 1
    assert kept.deliver(jobs[0], old_run, [], time.time()) is False
    assert all(kept.made(job.id, time.time()) is not None for job in jobs)


def test_nobody_waits_so_it_is_stopped(pool_of):
    """Jobs that nobody asks about are stopped, one that runs and one that waits; they can be begun again."""
    pool, kept, counts = pool_of(workers=1, idle_s=3.0)
    runs, waits = job_of(pool, nights=14), job_of(pool)
    for job in (runs, waits):
        pool.add(job)
        with pool._lock:
            pool._seen[job.id] -= 10  # nobody has asked for so long
    assert kept.begin(runs.id)  # as if handed out
    with pool._lock:
        pool._look_at_clocks()
    assert [state(kept, job.id) for job in (runs, waits)] == ["left", "left"]
    assert counts["jobs_left"] == 2
    assert pool.sizes() == (0, 0)
    pool.start()
    assert pool.again(waits)
    assert until(lambda: state(kept, waits.id) == "done", keep=[(pool, waits.id)])


def test_a_job_over_its_time_is_ended_with_words(pool_of):
    """The time limit ends the process and says so; the next job is done by a new one."""
    pool, kept, _ = pool_of(workers=1, job_s=0.05)
    pool.start()
    job = job_of(pool, nights=10)
    pool.add(job)
    assert until(lambda: state(kept, job.id) in ("failed", "done"), keep=[(pool, job.id)])
    assert state(kept, job.id) == "failed"
    assert "stopped after" in kept.job(job.id, time.time()).words


def test_a_job_that_kills_its_process_each_time_is_given_up(pool_of):
    """After three runs that ended suddenly the job is failed, with words, and the line goes on."""
    pool, kept, _ = pool_of(workers=1)
    pool.start()
    job = job_of(pool, nights=10)
    pool.add(job)
    for _ in range(3):
        run = kept.job(job.id, time.time()).run
        if not until(
            lambda run=run: (j := kept.job(job.id, time.time())).state == "running" and j.run > run, 60, keep=[(pool, job.id)]
        ):
            break
        os.kill(pool.processes()[0], signal.SIGKILL)
    assert until(lambda: state(kept, job.id) in ("failed", "done"), keep=[(pool, job.id)])
    assert state(kept, job.id) == "failed"
    assert "ended suddenly" in kept.job(job.id, time.time()).words
    other = job_of(pool, "t")
    pool.add(other)
    assert until(lambda: state(kept, other.id) == "done", keep=[(pool, other.id)])


def test_memory_is_bounded(pool_of):
    """The processes run under the address space limit that the settings tell."""
    import sys

    if sys.platform != "linux":
        pytest.skip("reads the limit from /proc")
    pool, _, _ = pool_of(workers=1, memory_mb=4096)
    pool.start()
    assert until(lambda: any(w.ready for w in pool._workers))
    proc = Path("/proc") / str(pool.processes()[0])
    line = next(line for line in (proc / "limits").read_text().splitlines() if line.startswith("Max address space"))
    assert line.split()[3] == str(4096 * 2**20)
    assert int((proc / "stat").read_text().rpartition(")")[2].split()[16]) == 10, "nice to the page"


def test_one_session_cannot_fill_the_line(pool_of):
    """So many jobs a session, so many in all; more are refused in words."""
    pool, _, _ = pool_of(workers=0, most_jobs=2, most_queued=3)
    pool.add(job_of(pool, "a"))
    pool.add(job_of(pool, "a"))
    with pytest.raises(FullError, match="several jobs"):
        pool.add(job_of(pool, "a"))
    pool.add(job_of(pool, "b"))
    with pytest.raises(FullError, match="Too many people"):
        pool.add(job_of(pool, "c"))


def test_an_upload_is_gone_when_its_job_is(pool_of):
    """What somebody handed in is deleted with the end of its job, however it ends."""
    _, kept, _ = pool_of(workers=0)
    for ending in ("stopped", "failed", "done"):
        job = Job(new_token(), "s", "check", {}, "waiting", 0, "", b"a track of mine")
        kept.add_job(job, time.time())
        assert kept.upload(job.id) == b"a track of mine"
        run = kept.begin(job.id)
        if ending == "done":
            assert kept.deliver(job, run, [], time.time())
        else:
            kept.end(job.id, ending)
        assert kept.upload(job.id) is None


def test_jobs_outlive_a_database_that_goes_away(region_file, postgres_server):
    """PostgreSQL is killed while jobs run and wait: none is lost and none fails; when it is back, all are done."""
    from collections import Counter

    from helpers.served import settings_of

    from tripplan.serve.database import open_database
    from tripplan.serve.kept import Kept
    from tripplan.serve.pool import Pool

    settings = settings_of(region_file, postgres_server.database(), most_jobs=8)
    kept = Kept(open_database(settings.database), settings.keep_days)
    kept.prepare()
    pool = Pool(settings, kept, log=lambda *_a, **_k: None, counts=Counter())
    pool.start()
    try:
        jobs = [job_of(pool, f"s{n}", nights=5) for n in range(4)]
        for job in jobs:
            pool.add(job)
        keep = [(pool, job.id) for job in jobs]
        assert until(lambda: state(kept, jobs[0].id) == "running", keep=keep)
        postgres_server.stop()
        time.sleep(2.5)  # longer than the first job takes: it finds nowhere to keep its plan
        postgres_server.start()
        for job in jobs:
            assert until(lambda job=job: state(kept, job.id) in ("done", "failed"), keep=keep)
            assert state(kept, job.id) == "done", kept.job(job.id, time.time()).words
            assert kept.paper(job.id, "plan.json", time.time())
    finally:
        pool.close()


def _plans_of(region_file, specs):
    """Return each draft's papers as a worker that nobody kills makes them."""
    from helpers.served import settings_of

    from tripplan.region.store import load
    from tripplan.serve.tasks import results_of

    region, settings = load(region_file), settings_of(region_file, "unused")
    return [
        results_of(Job("x", "s", "plan", spec, "running", 1, ""), None, region, settings, lambda *_: None)[0].papers
        for spec in specs
    ]


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="finds the worker processes in /proc")
def test_a_hundred_jobs_outlive_kill_9_of_server_and_workers(region_file, database, tmp_path):
    """Workers are killed every second or two, the server five times: each of 100 plans is there once, whole, and as without a kill."""
    import random
    import subprocess
    import sys

    from helpers.served import settings_of, workers_of

    from tripplan.pipeline import sample_folder
    from tripplan.serve.database import open_database
    from tripplan.serve.kept import Kept

    settings = settings_of(region_file, database)
    kept = Kept(open_database(database), settings.keep_days)
    kept.prepare()
    specs = [{"draft": draft_of(settings, nights), "steps": []} for nights in (2, 3, 5, 6)]
    jobs = [Job(new_token(), f"s{n % 40}", "plan", specs[n % 4], "waiting", 0, "") for n in range(100)]
    for job in jobs:
        kept.add_job(job, time.time())

    def serve():
        command = [sys.executable, "-m", "tripplan", "serve", "--region", str(region_file), "--database", database, "--port", "0"]
        command += ["--firm", str(sample_folder() / "firm.toml"), "--workers", "2", "--idle-seconds", "36000"]
        with (tmp_path / "log").open("ab") as log:
            env = {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
            return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=log, env=env)

    def ended():
        return sum(
            n for s, n in kept._db.all("SELECT state, COUNT(*) FROM job GROUP BY state") if s not in ("waiting", "running")
        )

    chance, server, killed, restarts = random.Random(4), serve(), 0, 0
    try:
        end = time.monotonic() + 900
        while ended() < 100 and time.monotonic() < end:
            time.sleep(chance.uniform(0.5, 2.5))
            tried = kept._db.one("SELECT MAX(run) FROM job WHERE state = 'running'")[0] or 0
            pids = workers_of(server.pid)
            if restarts < 5 and ended() > 15 * (restarts + 1):
                server.kill()
                server.wait()
                server, restarts = serve(), restarts + 1
            elif pids and tried < 3:  # a job whose process dies three times is given up: that is another test's
                os.kill(chance.choice(pids), signal.SIGKILL)
                killed += 1
    finally:
        server.kill()
        server.wait()
    assert restarts == 5
    assert killed >= 20
    expected = _plans_of(region_file, specs)
    for n, job in enumerate(jobs):
        found = kept.job(job.id, time.time())
        assert found.state == "done", (n, found.state, found.words)
        assert kept.made(job.id, time.time()).kind == "plan"
        names = [name for (name,) in kept._db.all("SELECT name FROM paper WHERE id = ?", (job.id,))]
        assert sorted(names) == sorted(expected[n % 4])
        for name in names:
            assert kept.paper(job.id, name, time.time()) == expected[n % 4][name], (n, name)
    assert kept._db.one("SELECT COUNT(*) FROM made") == (100,)
    print(f"{killed} workers and {restarts} servers killed; most runs {kept._db.one('SELECT MAX(run) FROM job')[0]}")
