"""A second reading of the search's contract, as a CP-SAT model. One worker, fixed seed, small coefficients."""

from __future__ import annotations

from tripplan.schedule.problem import Problem


def cp_optimum(p: Problem, seconds: float = 20.0) -> int | None:
    """Return the least cost of a problem with hard caps and no couple rows, None when there is no plan."""
    from ortools.sat.python import cp_model

    assert not p.couple
    assert not p.excess_weight.any()
    m = cp_model.CpModel()
    D, P, R, S, C = p.days, p.places, len(p.cap), len(p.need), len(p.count_cap)
    origin = [q for q in range(P) for _ in range(int(p.arc_ptr[q]), int(p.arc_ptr[q + 1]))]
    cost: list = []
    counts: list[list] = [[] for _ in range(C)]
    level = [m.new_constant(int(v)) for v in p.start_level]
    at = {p.start: m.new_constant(1)}
    seen: list[list] = [[] for _ in range(S)]  # (literal, what it adds) up to now
    hours: list[list] = [[] for _ in range(S)]
    stayed: dict = {}  # (place, nights in a row) -> literal
    top = max(200, int(p.cap.max(initial=0)))

    def after(start, total, prefix, tail, cap, name):
        m.add(start + prefix <= cap)
        end = m.new_int_var(0, top, name)
        m.add_max_equality(end, [start + total, tail])
        m.add(end <= cap)
        return end

    def served(start, when, name):
        if isinstance(when, int) and when == 0:
            return start
        end = m.new_int_var(0, top, name)
        m.add(end == 0).only_enforce_if(when)
        m.add(end == start).only_enforce_if(when.negated())
        return end

    def either(lits, name):
        if not lits:
            return 0
        b = m.new_bool_var(name)
        m.add(sum(lits) == b)
        return b

    for d in range(D):
        last = d == D - 1
        x = {}
        for a, to in enumerate(p.arc_to.tolist()):
            fits = to == p.goal if last else p.night_cost[d, to] >= 0
            if fits and int(p.arc_days[a]) >> d & 1 and origin[a] in at:
                x[a] = m.new_bool_var(f"x{d},{a}")
        for q, here in at.items():
            m.add(sum(v for a, v in x.items() if origin[a] == q) == here)
        if not x:
            return None
        cost += [int(p.arc_cost[a]) * v for a, v in x.items()]
        for c in range(C):
            counts[c] += [int(p.arc_count[a, c]) * v for a, v in x.items()]
        for s in range(S):
            hours[s] += [v for a, v in x.items() if int(p.arc_sights[a]) >> s & 1]
        # leaving after exactly one night
        for (q, n), lit in stayed.items():
            if n == 1:
                gone = m.new_bool_var(f"gone{d},{q}")
                away = sum(v for a, v in x.items() if origin[a] == q and p.arc_to[a] != q)
                m.add(gone >= lit + away - 1)
                m.add(gone <= lit)
                m.add(gone <= away)
                cost.append(int(p.one_night_cost) * gone)
                for c in range(C):
                    counts[c].append(int(p.one_night_count[c]) * gone)
        for r in range(R):
            part = [sum(int(p.day_block[d, p.arc_use[a], i, r]) * v for a, v in x.items()) for i in range(3)]
            level[r] = after(level[r], *part, int(p.cap[r]), f"day{d},{r}")
            level[r] = served(
                level[r], either([v for a, v in x.items() if int(p.arc_reset[a]) >> r & 1], f"w{d},{r}"), f"s{d},{r}"
            )
        if last:
            for r in range(R):
                m.add(level[r] <= int(p.goal_cap[r]))
            break
        night = {}
        for q in range(P):
            into = [v for a, v in x.items() if p.arc_to[a] == q]
            if into:
                night[q] = m.new_bool_var(f"night{d},{q}")
                m.add(sum(into) == night[q])
        then: dict = {}
        for q, here in night.items():
            stand = [v for a, v in x.items() if p.arc_to[a] == q and origin[a] == q]
            longest = {n for (o, n) in stayed if o == q} | ({0} if d == 0 and q == p.start else set())
            before = []
            for n in sorted(longest):
                lit = stayed[q, n] if n else m.new_constant(1)
                more = m.new_bool_var(f"stay{d},{q},{n}")
                m.add(more >= lit + sum(stand) - 1)
                m.add(more <= lit)
                m.add(more <= sum(stand))
                then[q, n + 1] = [*then.get((q, n + 1), []), more]
                before.append(more)
            then[q, 1] = [*then.get((q, 1), []), here - sum(stand)]
            del before
        stayed = {}
        for (q, n), parts in then.items():
            lit = m.new_bool_var(f"n{d},{q},{n}")
            m.add(sum(parts) == lit)
            if p.max_stay[q] and n > p.max_stay[q]:
                m.add(lit == 0)
            stayed[q, n] = lit
        cost += [int(p.night_cost[d, q]) * v for q, v in night.items()]
        for c in range(C):
            counts[c] += [int(p.night_count[d, q, c]) * v for q, v in night.items()]
        for s in range(S):
            seen[s] += [v for q, v in night.items() if p.cover[q, s]]
        for r in range(R):
            arrive = either([v for q, v in night.items() if int(p.arrive_reset[q]) >> r & 1], f"a{d},{r}")
            level[r] = served(level[r], arrive, f"b{d},{r}")
            part = [sum(int(p.night_block[d, p.night_class[q], i, r]) * v for q, v in night.items()) for i in range(3)]
            level[r] = after(level[r], *part, int(p.cap[r]), f"over{d},{r}")
            leave = either([v for q, v in night.items() if int(p.leave_reset[q]) >> r & 1], f"l{d},{r}")
            level[r] = served(level[r], leave, f"e{d},{r}")
        at = night
    for c in range(C):
        m.add(sum(counts[c]) <= int(p.count_cap[c]))
    for s in range(S):
        done = m.new_bool_var(f"done{s}")
        enough = m.new_bool_var(f"enough{s}")
        m.add(sum(seen[s]) >= int(p.need[s])).only_enforce_if(enough)
        m.add_bool_or([*hours[s], enough, done.negated()])
        if p.must[s]:
            m.add(done == 1)
        else:
            cost.append(-int(p.value[s]) * done)
    m.minimize(sum(cost))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(m)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), solver.status_name(status)
    return None if status == cp_model.INFEASIBLE else round(solver.objective_value)
