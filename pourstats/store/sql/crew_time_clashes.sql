-- crew_time_clashes: minutes that a worker is logged on two pours at once
-- grain: one row a worker and two pours
-- key: worker, pour_a, pour_b
-- kept: no
-- reads: crew_time
--
-- Two stretches clash where both are waits or neither is: a wait simply gives way to work on another
-- pour. Travel and return visits take part. Two waits clash only while the worker works nowhere.
-- A minute logged on three pours is named for each two of them.
--
-- column | unit | meaning
-- worker | | label of the person
-- pour_a | | the one pour, the lesser label
-- pour_b | | the other pour
-- minutes | min | time logged on both

with sorted as (
    select
        worker,
        pour_id,
        case when task = 'wait' then 1 else 0 end as waits,
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

knotted as (
    select
        worker, pour_id, waits, began, ended,
        sum(case when ended_before > began then 0 else 1 end) over (
            partition by worker order by began, ended
            rows between unbounded preceding and current row
        ) as knot
    from sorted
    where ended_before > began or next_began < ended
),

-- each worker's time on a pour, waits and work apart, every minute once
covered as (
    select
        worker, knot, pour_id, waits, began, ended,
        max(ended) over (
            partition by worker, knot, pour_id, waits order by began, ended
            rows between unbounded preceding and 1 preceding
        ) as ended_before
    from knotted
),

once as (
    select
        worker, knot, pour_id, waits, ended,
        case when ended_before > began then ended_before else began end as began
    from covered
    where ended_before is null or ended_before < ended
),

-- and each worker's working time, whatever the pour
work_covered as (
    select
        worker, knot, began, ended,
        max(ended) over (
            partition by worker, knot order by began, ended
            rows between unbounded preceding and 1 preceding
        ) as ended_before
    from once
    where waits = 0
),

work as (
    select
        worker, knot, ended,
        case when ended_before > began then ended_before else began end as began
    from work_covered
    where ended_before is null or ended_before < ended
),

shared as (
    select
        a.worker, a.knot, a.waits,
        a.pour_id as pour_a,
        b.pour_id as pour_b,
        greatest(a.began, b.began) as began,
        least(a.ended, b.ended) as ended
    from once as a
    inner join once as b
        on
            a.worker = b.worker and a.knot = b.knot and a.waits = b.waits
            and a.pour_id < b.pour_id and a.began < b.ended and b.began < a.ended
),

both_waiting as (
    select o.worker, o.pour_a, o.pour_b, o.began, o.ended,
        sum(
            case when w.began is not null
                then date_diff('second', greatest(o.began, w.began), least(o.ended, w.ended))
            end
        ) as worked
    from shared as o
    left join work as w
        on o.worker = w.worker and o.knot = w.knot and w.began < o.ended and w.ended > o.began
    where o.waits = 1
    group by o.worker, o.pour_a, o.pour_b, o.began, o.ended
),

clashes as (
    select worker, pour_a, pour_b, date_diff('second', began, ended) as seconds
    from shared
    where waits = 0
    union all
    select worker, pour_a, pour_b, date_diff('second', began, ended) - coalesce(worked, 0) as seconds
    from both_waiting
)

select worker, pour_a, pour_b, sum(seconds) / 60.0 as minutes
from clashes
group by worker, pour_a, pour_b
having sum(seconds) > 0
