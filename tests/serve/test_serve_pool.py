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


def test_a_result_is_kept_whole_or_not_at_all(pool_of):
    """When keeping the papers fails half way, neither the plan nor its papers nor the job's end is there."""
    from tripplan.serve.kept import Made

    pool, kept, _ = pool_of(workers=0)
    job = job_of(pool)
    kept.add_job(job, time.time())
    run = kept.begin(job.id)
    broken = Made(job.id, "s", "plan", "x", {}, {}, {"map.html": b"whole", "plan.json": None})  # type: ignore[dict-item]
    with pytest.raises(TypeError):
        kept.deliver(job, run, [broken], time.time())
    assert kept.made(job.id, time.time()) is None
    assert kept.paper(job.id, "map.html", time.time()) is None
    assert state(kept, job.id) == "running"


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
