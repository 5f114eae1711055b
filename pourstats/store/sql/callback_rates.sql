-- callback_rates: how often the crew is called back, and what it costs
-- grain: one row a grouping (by) and group
-- key: by, group
-- kept: no
-- reads: pour_output, pour_weather, pours, trucks, passes, crew_time, callbacks, crew, house
--
-- A pour counts, called back or not, once it is old enough: callback_age_days, for driveway, patio,
-- walk and porch callback_age_outdoor_days (house rules). Age counts to the latest date or time in
-- pours, trucks, passes, crew_time, callbacks and crew. Pours and calls too young stand apart and
-- are in no other column. Hours and cost that a callback leaves blank are not in the sums (their
-- number stands beside); a figure is blank if every callback of the group leaves it blank.
-- Callback hours have no worker: their pay is the house rule default_pay, else the mean pay that
-- the crew table has for the day of the call, times (1 + burden).
-- rate_p05 and rate_p95 are the score interval (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927), 90 %.
--
-- column | unit | meaning
-- by | | slab_type, finish, lead, month or evaporation_class
-- group | | the group; unknown where the pour leaves it blank; months as YYYY-MM
-- pours | | pours old enough
-- pours_called_back | | of these, pours with a callback
-- callbacks | | callbacks on these pours
-- rate | share | pours_called_back over pours, 0 to 1
-- rate_p05 | share | lower end of the 90 % interval
-- rate_p95 | share | upper end of the 90 % interval
-- placed_yd3 | yd3 | volume of these pours
-- callbacks_per_1000yd3 | 1/1000 yd3 | callbacks over a thousand yards placed
-- callbacks_without_hours | | callbacks whose hours are blank
-- callbacks_without_cost | | callbacks whose cost is blank
-- hours_per_yd3 | h/yd3 | callback hours over the volume placed
-- cost_per_yd3 | USD/yd3 | callback cost beside labor over the volume placed | private
-- all_in_cost_per_yd3 | USD/yd3 | the same with the hours at burdened pay added | private
-- young_pours | | pours not old enough
-- young_callbacks | | callbacks on these

with latest as (
    select max(day) as day
    from (
        select greatest(
            max(date), cast(max(crew_in) as date), cast(max(crew_out) as date),
            cast(max(place_start) as date), cast(max(place_end) as date),
            cast(max(bull_float_end) as date), cast(max(machine_on) as date),
            cast(max(passes_done) as date), cast(max(saw_start) as date),
            cast(max(saw_end) as date), cast(max(cure_start) as date)
        ) as day
        from pours
        union all
        select greatest(
            cast(max(due) as date), cast(max(batched) as date), cast(max(arrived) as date),
            cast(max(pour_start) as date), cast(max(pour_end) as date), cast(max("left") as date)
        ) as day
        from trucks
        union all
        select greatest(
            cast(max(ready) as date), cast(max("start") as date), cast(max("end") as date)
        ) as day
        from passes
        union all
        select greatest(cast(max("start") as date), cast(max("end") as date)) as day from crew_time
        union all
        select max(reported) as day from callbacks
        union all
        select max(since) as day from crew
    ) as days
),

-- what a callback's hours are paid
days_called as (
    select distinct reported from callbacks
),

pays as (
    select
        worker,
        pay,
        coalesce(since, date '0001-01-01') as since,
        lead(since) over (partition by worker order by coalesce(since, date '0001-01-01')) as until
    from crew
),

mean_pays as (
    select d.reported, avg(c.pay) as pay
    from days_called as d
    inner join pays as c
        on c.since <= d.reported and (c.until is null or d.reported < c.until)
    group by d.reported
),

calls as (
    select
        c.pour_id,
        count(*) as callbacks,
        count(c.hours) as with_hours,
        count(c.cost) as with_cost,
        sum(c.hours) as hours,
        sum(c.cost) as cost,
        sum(case when c.hours > 0 and coalesce(h.default_pay, m.pay) is null then 1 else 0 end)
            as unpriced,
        sum(c.hours * coalesce(h.default_pay, m.pay) * (1 + h.burden)) as labor_cost
    from callbacks as c
    cross join house as h
    left join mean_pays as m on c.reported = m.reported
    group by c.pour_id
),

aged as (
    select
        o.pour_id,
        o.slab_type,
        coalesce(o.finish, 'unknown') as finish,
        coalesce(o.lead, 'unknown') as lead,
        strftime(o.date, '%Y-%m') as month,
        coalesce(w.evaporation_class, 'unknown') as evaporation_class,
        o.placed_yd3,
        case
            when date_diff('day', o.date, l.day) >= case
                when o.slab_type in ('driveway', 'patio', 'walk', 'porch')
                    then h.callback_age_outdoor_days
                else h.callback_age_days
            end then 1
            else 0
        end as old_enough,
        coalesce(c.callbacks, 0) as callbacks,
        coalesce(c.with_hours, 0) as with_hours,
        coalesce(c.with_cost, 0) as with_cost,
        coalesce(c.unpriced, 0) as unpriced,
        c.hours,
        c.cost,
        c.labor_cost
    from pour_output as o
    inner join pour_weather as w on o.pour_id = w.pour_id
    cross join latest as l
    cross join house as h
    left join calls as c on o.pour_id = c.pour_id
),

grouped as (
    select 'slab_type' as "by", slab_type as "group", pour_id from aged
    union all
    select 'finish' as "by", finish as "group", pour_id from aged
    union all
    select 'lead' as "by", lead as "group", pour_id from aged
    union all
    select 'month' as "by", month as "group", pour_id from aged
    union all
    select 'evaporation_class' as "by", evaporation_class as "group", pour_id from aged
),

totals as (
    select
        g."by",
        g."group",
        sum(a.old_enough) as pours,
        sum(case when a.old_enough = 1 and a.callbacks > 0 then 1 else 0 end) as pours_called_back,
        sum(a.old_enough * a.callbacks) as callbacks,
        sum(a.old_enough * a.placed_yd3) as placed_yd3,
        sum(a.old_enough * a.with_hours) as with_hours,
        sum(a.old_enough * a.with_cost) as with_cost,
        sum(a.old_enough * a.unpriced) as unpriced,
        coalesce(sum(a.old_enough * a.hours), 0) as hours,
        coalesce(sum(a.old_enough * a.cost), 0) as cost,
        coalesce(sum(a.old_enough * a.labor_cost), 0) as labor_cost,
        sum(1 - a.old_enough) as young_pours,
        sum((1 - a.old_enough) * a.callbacks) as young_callbacks
    from grouped as g
    inner join aged as a on g.pour_id = a.pour_id
    group by g."by", g."group"
),

-- z = 1.6448536 leaves 5 % on either side
scores as (
    select
        "by",
        "group",
        cast(pours as double) as n,
        cast(pours_called_back as double) as x,
        cast(1.6448536269514722 as double) as z
    from totals
    where pours > 0
),

shares as (
    select
        "by",
        "group",
        x / n as rate,
        (x + z * z / 2) / (n + z * z) as middle,
        z * sqrt(x * (n - x) / n + z * z / 4) / (n + z * z) as reach
    from scores
)

select
    t."by",
    t."group",
    cast(t.pours as bigint) as pours,
    cast(t.pours_called_back as bigint) as pours_called_back,
    cast(t.callbacks as bigint) as callbacks,
    s.rate,
    case when t.pours_called_back = 0 then s.rate else s.middle - s.reach end as rate_p05,
    case when t.pours_called_back = t.pours then s.rate else s.middle + s.reach end as rate_p95,
    t.placed_yd3,
    1000 * t.callbacks / nullif(t.placed_yd3, 0) as callbacks_per_1000yd3,
    cast(t.callbacks - t.with_hours as bigint) as callbacks_without_hours,
    cast(t.callbacks - t.with_cost as bigint) as callbacks_without_cost,
    case when t.callbacks = 0 or t.with_hours > 0 then t.hours / nullif(t.placed_yd3, 0) end
        as hours_per_yd3,
    case when t.callbacks = 0 or t.with_cost > 0 then t.cost / nullif(t.placed_yd3, 0) end
        as cost_per_yd3,
    case
        when t.callbacks = 0 or (t.with_cost > 0 and t.with_hours > 0 and t.unpriced = 0)
            then (t.cost + t.labor_cost) / nullif(t.placed_yd3, 0)
    end as all_in_cost_per_yd3,
    cast(t.young_pours as bigint) as young_pours,
    cast(t.young_callbacks as bigint) as young_callbacks
from totals as t
left join shares as s on t."by" = s."by" and t."group" = s."group"
