-- crew_shares: logged crew time with each minute counted once
-- grain: one row a worker's piece of time on a pour and task
-- key: worker, began, pour_id, task, wait_for
-- kept: yes
-- reads: crew_time
--
-- Stretches of one worker on one pour and task that overlap count once. A minute that a worker is
-- logged twice is split: waits give way to any other task on any pour; the rest is split evenly
-- over the pours, then within a pour over the tasks (two waits for different things count as two).
-- Stretches without a length are left out. So a worker's hours never exceed the clock.
--
-- column | unit | meaning
-- worker | | label of the person
-- pour_id | | the crew's own label of the pour
-- task | | set_up, place, finish, saw, wait, travel, clean_up, return_visit
-- wait_for | | what a wait was for; an empty text for other tasks and where it is unknown
-- began | | beginning of the piece
-- minutes | min | the share of its clock time that counts for this pour and task

with sorted as (
    select
        worker,
        pour_id,
        task,
        case when task = 'wait' then coalesce(wait_for, '') else '' end as wait_for,
        "start" as began,
        "end" as ended,
        max("end") over (
            partition by worker order by "start", "end"
            rows between unbounded preceding and 1 preceding
        ) as ended_before,
        lead("start") over (partition by worker order by "start", "end") as next_began
    from crew_time
    where "end" > "start"
),

-- most stretches touch no other one of their worker: these count as they stand
alone as (
    select
        worker, pour_id, task, wait_for, began,
        date_diff('second', began, ended) / 60.0 as minutes
    from sorted
    where
        (ended_before is null or ended_before <= began)
        and (next_began is null or next_began >= ended)
),

-- the others form knots: runs of overlapping stretches of one worker
knotted as (
    select
        worker,
        pour_id,
        task,
        wait_for,
        case when task = 'wait' then 1 else 0 end as waits,
        began,
        ended,
        sum(case when ended_before > began then 0 else 1 end) over (
            partition by worker order by began, ended
            rows between unbounded preceding and current row
        ) as knot
    from sorted
    where ended_before > began or next_began < ended
),

-- the same task on the same pour counts once: what an earlier stretch covers is cut away
covered as (
    select
        worker, knot, pour_id, waits, task, wait_for, began, ended,
        max(ended) over (
            partition by worker, knot, pour_id, task, wait_for order by began, ended
            rows between unbounded preceding and 1 preceding
        ) as ended_before
    from knotted
),

once as (
    select
        worker, knot, pour_id, waits, task, wait_for, ended,
        case when ended_before > began then ended_before else began end as began
    from covered
    where ended_before is null or ended_before < ended
),

-- spells of a pour in which the number of tasks stays the same, waits and work apart
marks as (
    select worker, knot, pour_id, waits, moment, sum(step) as step
    from (
        select worker, knot, pour_id, waits, began as moment, 1 as step from once
        union all
        select worker, knot, pour_id, waits, ended as moment, -1 as step from once
    ) as both_ends
    group by worker, knot, pour_id, waits, moment
),

spells as (
    select
        worker, knot, pour_id, waits,
        moment as began,
        lead(moment) over (partition by worker, knot, pour_id, waits order by moment) as ended,
        sum(step) over (
            partition by worker, knot, pour_id, waits order by moment
            rows between unbounded preceding and current row
        ) as tasks
    from marks
),

-- how many pours a worker works on, and waits on, from each moment to the next
moments as (
    select worker, knot, moment, sum(working) as working, sum(waiting) as waiting
    from (
        select worker, knot, began as moment, 1 - waits as working, waits as waiting
        from spells where tasks > 0
        union all
        select worker, knot, ended as moment, waits - 1 as working, -waits as waiting
        from spells where tasks > 0
    ) as changes
    group by worker, knot, moment
),

counts as (
    select
        worker, knot, moment,
        date_diff(
            'second', moment, lead(moment) over (partition by worker, knot order by moment)
        ) as seconds,
        sum(working) over (
            partition by worker, knot order by moment
            rows between unbounded preceding and current row
        ) as pours_working,
        sum(waiting) over (
            partition by worker, knot order by moment
            rows between unbounded preceding and current row
        ) as pours_waiting
    from moments
),

-- one pour's share of the worker's clock, added up to each moment
clocks as (
    select
        worker, knot, moment,
        coalesce(sum(case when pours_working > 0 then seconds / pours_working else 0.0 end) over (
            partition by worker, knot order by moment
            rows between unbounded preceding and 1 preceding
        ), 0) as work_clock,
        coalesce(sum(
            case when pours_working = 0 and pours_waiting > 0
                then seconds / pours_waiting else 0.0 end
        ) over (
            partition by worker, knot order by moment
            rows between unbounded preceding and 1 preceding
        ), 0) as wait_clock
    from counts
),

spell_shares as (
    select
        s.worker, s.knot, s.pour_id, s.waits, s.began, s.ended,
        case
            when s.waits = 1 then (b.wait_clock - a.wait_clock) / s.tasks
            else (b.work_clock - a.work_clock) / s.tasks
        end as seconds
    from spells as s
    inner join clocks as a
        on s.worker = a.worker and s.knot = a.knot and s.began = a.moment
    inner join clocks as b
        on s.worker = b.worker and s.knot = b.knot and s.ended = b.moment
    where s.tasks > 0
),

split as (
    select o.worker, o.pour_id, o.task, o.wait_for, s.began, s.seconds / 60.0 as minutes
    from once as o
    inner join spell_shares as s
        on
            o.worker = s.worker and o.knot = s.knot
            and o.pour_id = s.pour_id and o.waits = s.waits
            and s.began >= o.began and s.ended <= o.ended
)

select worker, pour_id, task, wait_for, began, minutes from alone
union all
select worker, pour_id, task, wait_for, began, minutes from split
