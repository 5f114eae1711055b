-- day_output: what the crew got done on the pours of a day
-- grain: one row a date with a pour
-- key: date
-- kept: no
-- reads: pour_output, pours, crew_time, passes
--
-- A pour belongs whole to its own date, hours after midnight and later trips back included, so that
-- the days add up to the pours. Rates leave out the pours whose hours are not known, yards and hours
-- alike. For the clock of a headcount pour, crew_in to crew_out counts as a stretch of the crew.
--
-- column | unit | meaning
-- date | | day of the placements
-- pours | | number of pours
-- pours_with_hours | | of these, pours whose labor_h is known
-- area_ft2 | ft2 | plan area of the day's pours
-- placed_yd3 | yd3 | volume placed
-- labor_h | h | person-hours on the pours, travel and return visits apart
-- paid_h | h | person-hours, travel and return visits included
-- clock_h | h | clock time with anybody of the crew at work on any of the pours, travel included
-- yd3_per_clock_h | yd3/h | volume placed over clock_h
-- yd3_per_paid_h | yd3/h | volume placed over paid_h
-- labor_cost_usd | USD | labor cost; blank unless known for every pour | private

with last_ends as (
    select pour_id, max("end") as last_end
    from passes
    group by pour_id
),

stretches as (
    select p.date, c.pour_id, c."start" as began, c."end" as ended
    from crew_time as c
    inner join pours as p on c.pour_id = p.pour_id
    union all
    select
        p.date,
        p.pour_id,
        coalesce(p.crew_in, p.place_start) as began,
        coalesce(p.crew_out, greatest(p.passes_done, e.last_end, p.saw_end)) as ended
    from pours as p
    inner join pour_output as o on p.pour_id = o.pour_id
    left join last_ends as e on p.pour_id = e.pour_id
    where o.hours_from is null or o.hours_from <> 'crew_time'
),

on_clock as (
    select
        date,
        began,
        ended,
        max(ended) over (
            partition by date order by began rows between unbounded preceding and 1 preceding
        ) as ended_before
    from stretches
    where ended > began
),

clocks as (
    select
        date,
        sum(
            case
                when ended_before is null or ended_before <= began
                    then date_diff('second', began, ended)
                when ended_before < ended then date_diff('second', ended_before, ended)
                else 0
            end
        ) / 3600.0 as clock_h
    from on_clock
    group by date
),

clocked as (
    select distinct pour_id
    from stretches
    where ended > began
),

days as (
    select
        o.date,
        count(*) as pours,
        count(o.labor_h) as pours_with_hours,
        sum(o.area_ft2) as area_ft2,
        sum(o.placed_yd3) as placed_yd3,
        sum(case when k.pour_id is not null then o.placed_yd3 end) as clocked_yd3,
        sum(case when o.paid_h is not null then o.placed_yd3 end) as paid_yd3,
        sum(o.labor_h) as labor_h,
        sum(o.paid_h) as paid_h,
        case when count(o.labor_cost_usd) = count(*) then sum(o.labor_cost_usd) end
            as labor_cost_usd
    from pour_output as o
    left join clocked as k on o.pour_id = k.pour_id
    group by o.date
)

select
    d.date,
    d.pours,
    d.pours_with_hours,
    d.area_ft2,
    d.placed_yd3,
    d.labor_h,
    d.paid_h,
    c.clock_h,
    d.clocked_yd3 / nullif(c.clock_h, 0) as yd3_per_clock_h,
    d.paid_yd3 / nullif(d.paid_h, 0) as yd3_per_paid_h,
    d.labor_cost_usd
from days as d
left join clocks as c on d.date = c.date
