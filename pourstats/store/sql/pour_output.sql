-- pour_output: what a pour got done, in what hours and at what cost
-- grain: one row a pour
-- key: pour_id
-- kept: yes
-- reads: crew_shares, pours, trucks, passes, crew_time, crew, house
--
-- hours_from is crew_time where the pour has a stretch of any task but travel and return_visit;
-- with stretches of only those two the headcount stands for the hours on the slab, and travel_h
-- and return_h are added to it. Headcount: hands x (place_end - crew_in) + finish_hands x (crew_out
-- - place_end), neither part below zero. Where crew_in is missing place_start stands in, where
-- finish_hands is missing hands does, for crew_out the latest of passes_done, the last end of a pass
-- and saw_end: then hours_from says headcount_part. Without hands or the times it is blank.
-- A worker's pay is the crew row with the latest `since` not after the pour's date; a blank since is
-- the earliest. Where that row or its pay is missing, the house rule default_pay counts.
--
-- column | unit | meaning
-- pour_id | | the crew's own label of the pour
-- date | | day of the placement
-- site | | job site
-- slab_type | | what the slab is for
-- finish | | the finish asked for
-- placement | | how the concrete got to the slab
-- exposure | | what the sky does to the slab
-- lead | | who ran the pour
-- area_ft2 | ft2 | plan area
-- thickness_in | in | mean thickness
-- hands | | people placing
-- loads | | number of loads logged
-- placed_yd3 | yd3 | volume placed
-- placed_from | | tickets, order or plan: where placed_yd3 comes from
-- plan_yd3 | yd3 | area times thickness
-- overrun_pct | percent | placed over plan, less 100 %; blank where placed_from is plan
-- labor_h | h | person-hours on the pour, travel and return visits apart
-- travel_h | h | person-hours on the road; blank where no crew time is logged
-- return_h | h | person-hours of return visits; blank where no crew time is logged
-- paid_h | h | labor_h, travel_h and return_h together
-- hours_from | | crew_time, headcount, or headcount_part where something stood in
-- place_labor_h | h | of labor_h: placing
-- finish_labor_h | h | of labor_h: finishing
-- saw_labor_h | h | of labor_h: sawing, also on a trip back
-- wait_labor_h | h | of labor_h: waiting
-- other_labor_h | h | of labor_h: setting up and cleaning up
-- finish_stay_h | h | finishing and waits for set together
-- pass_h | h | logged pass time, every pass counted
-- crew_h | h | clock time with anybody of the crew on the slab
-- mean_hands | | labor_h over crew_h
-- yd3_per_crew_h | yd3/h | placed_yd3 over crew_h
-- yd3_per_labor_h | yd3/h | placed_yd3 over labor_h
-- ft2_per_labor_h | ft2/h | area over labor_h
-- finish_ft2_per_labor_h | ft2/h | area over finish_labor_h
-- finish_stay_ft2_per_labor_h | ft2/h | area over finish_stay_h
-- labor_h_per_100ft2 | h/100 ft2 | labor_h over a hundred square feet
-- place_yd3_per_h | yd3/h | placed_yd3 over the clock time from place_start to place_end
-- workers | | people with crew time on the slab; blank without
-- labor_cost_usd | USD | labor_h by worker times pay times (1 + burden) | private
-- cost_from | | crew, default, or crew_and_default: whose pay labor_cost_usd rests on

with tickets as (
    select pour_id, count(*) as loads, sum(volume - coalesce(returned, 0)) as placed
    from trucks
    group by pour_id
),

pass_time as (
    select
        pour_id,
        sum(date_diff('second', "start", "end")) / 3600.0 as pass_h,
        max("end") as last_end
    from passes
    group by pour_id
),

volume as (
    select
        p.pour_id,
        p.area * p.thickness / 324.0 as plan,
        coalesce(t.placed, p.ordered_volume, p.area * p.thickness / 324.0) as placed,
        case
            when t.placed is not null then 'tickets'
            when p.ordered_volume is not null then 'order'
            else 'plan'
        end as placed_from,
        coalesce(t.loads, 0) as loads
    from pours as p
    left join tickets as t on p.pour_id = t.pour_id
),

-- each worker's minutes by task
worker_minutes as (
    select
        pour_id,
        worker,
        sum(case when task in ('travel', 'return_visit') then 0 else 1 end) as on_slab,
        sum(case when task in ('travel', 'return_visit') then 0 else minutes end) as labor_min,
        sum(case when task = 'travel' then minutes else 0 end) as travel_min,
        sum(case when task = 'return_visit' then minutes else 0 end) as return_min,
        sum(case when task = 'place' then minutes else 0 end) as place_min,
        sum(case when task = 'finish' then minutes else 0 end) as finish_min,
        sum(case when task = 'saw' then minutes else 0 end) as saw_min,
        sum(case when task = 'wait' then minutes else 0 end) as wait_min,
        sum(case when task in ('set_up', 'clean_up') then minutes else 0 end) as other_min,
        sum(
            case when task = 'finish' or (task = 'wait' and wait_for = 'set') then minutes else 0 end
        ) as finish_stay_min
    from crew_shares
    group by pour_id, worker
),

-- the crew's hours by task
tasks as (
    select
        pour_id,
        sum(on_slab) as on_slab,
        sum(labor_min) / 60.0 as labor_h,
        sum(travel_min) / 60.0 as travel_h,
        sum(return_min) / 60.0 as return_h,
        sum(place_min) / 60.0 as place_labor_h,
        sum(finish_min) / 60.0 as finish_labor_h,
        sum(saw_min) / 60.0 as saw_labor_h,
        sum(wait_min) / 60.0 as wait_labor_h,
        sum(other_min) / 60.0 as other_labor_h,
        sum(finish_stay_min) / 60.0 as finish_stay_h
    from worker_minutes
    group by pour_id
),

-- the clock time in which anybody was on the slab
stretches as (
    select
        pour_id,
        "start" as began,
        "end" as ended,
        max("end") over (
            partition by pour_id order by "start" rows between unbounded preceding and 1 preceding
        ) as ended_before
    from crew_time
    where task not in ('travel', 'return_visit')
),

crew_clock as (
    select
        pour_id,
        sum(
            case
                when ended_before is null or ended_before <= began
                    then date_diff('second', began, ended)
                when ended_before < ended then date_diff('second', ended_before, ended)
                else 0
            end
        ) / 3600.0 as crew_h
    from stretches
    group by pour_id
),

-- what the headcount says
headcount as (
    select
        p.pour_id,
        coalesce(p.crew_in, p.place_start) as crew_in,
        coalesce(p.crew_out, greatest(p.passes_done, t.last_end, p.saw_end)) as crew_out,
        coalesce(p.finish_hands, p.hands) as finish_hands,
        case when p.crew_in is null or p.finish_hands is null or p.crew_out is null then 1 else 0 end
            as stood_in
    from pours as p
    left join pass_time as t on p.pour_id = t.pour_id
),

headcount_hours as (
    select
        p.pour_id,
        c.stood_in,
        date_diff('second', c.crew_in, c.crew_out) / 3600.0 as crew_h,
        p.hands * (case when c.crew_in < p.place_end
            then date_diff('second', c.crew_in, p.place_end) / 3600.0
            when c.crew_in is not null and p.place_end is not null then 0 end)
        + c.finish_hands * (case when p.place_end < c.crew_out
            then date_diff('second', p.place_end, c.crew_out) / 3600.0
            when p.place_end is not null and c.crew_out is not null then 0 end) as labor_h
    from pours as p
    inner join headcount as c on p.pour_id = c.pour_id
),

hours as (
    select
        p.pour_id,
        case when t.on_slab > 0 then 'crew_time'
            when h.labor_h is null then null
            when h.stood_in = 1 then 'headcount_part'
            else 'headcount'
        end as hours_from,
        case when t.on_slab > 0 then t.labor_h else h.labor_h end as labor_h,
        case when t.on_slab > 0 then c.crew_h when h.crew_h >= 0 then h.crew_h end as crew_h,
        t.travel_h,
        t.return_h,
        case when t.on_slab > 0 then t.place_labor_h end as place_labor_h,
        case when t.on_slab > 0 then t.finish_labor_h end as finish_labor_h,
        case when t.on_slab > 0 then t.saw_labor_h end as saw_labor_h,
        case when t.on_slab > 0 then t.wait_labor_h end as wait_labor_h,
        case when t.on_slab > 0 then t.other_labor_h end as other_labor_h,
        case when t.on_slab > 0 then t.finish_stay_h end as finish_stay_h
    from pours as p
    left join tasks as t on p.pour_id = t.pour_id
    left join crew_clock as c on p.pour_id = c.pour_id
    left join headcount_hours as h on p.pour_id = h.pour_id
),

-- what the hours on the slab cost, by the pay that held that day
pays as (
    select
        worker,
        pay,
        coalesce(since, date '0001-01-01') as since,
        lead(since) over (partition by worker order by coalesce(since, date '0001-01-01')) as until
    from crew
),

wages as (
    select
        w.pour_id,
        count(*) as workers,
        count(c.pay) as from_crew,
        count(coalesce(c.pay, h.default_pay)) as paid,
        sum(w.labor_min / 60.0 * coalesce(c.pay, h.default_pay)) as wages_usd
    from worker_minutes as w
    inner join pours as p on w.pour_id = p.pour_id
    cross join house as h
    left join pays as c
        on
            w.worker = c.worker and c.since <= p.date
            and (c.until is null or p.date < c.until)
    where w.on_slab > 0
    group by w.pour_id
),

costs as (
    select
        o.pour_id,
        w.workers,
        case
            when o.hours_from = 'crew_time'
                then case when w.paid = w.workers then w.wages_usd end
            else o.labor_h * h.default_pay
        end * (1 + h.burden) as labor_cost_usd,
        case
            when o.hours_from is null then null
            when o.hours_from <> 'crew_time'
                then case when h.default_pay is not null then 'default' end
            when w.paid < w.workers then null
            when w.from_crew = w.workers then 'crew'
            when w.from_crew = 0 then 'default'
            else 'crew_and_default'
        end as cost_from
    from hours as o
    cross join house as h
    left join wages as w on o.pour_id = w.pour_id
)

select
    p.pour_id,
    p.date,
    p.site,
    p.slab_type,
    p.finish,
    p.placement,
    p.exposure,
    p.lead,
    p.area as area_ft2,
    p.thickness as thickness_in,
    p.hands,
    v.loads,
    v.placed as placed_yd3,
    v.placed_from,
    v.plan as plan_yd3,
    case when v.placed_from <> 'plan' then 100 * (v.placed / v.plan - 1) end as overrun_pct,
    o.labor_h,
    o.travel_h,
    o.return_h,
    o.labor_h + coalesce(o.travel_h, 0) + coalesce(o.return_h, 0) as paid_h,
    o.hours_from,
    o.place_labor_h,
    o.finish_labor_h,
    o.saw_labor_h,
    o.wait_labor_h,
    o.other_labor_h,
    o.finish_stay_h,
    t.pass_h,
    o.crew_h,
    o.labor_h / nullif(o.crew_h, 0) as mean_hands,
    v.placed / nullif(o.crew_h, 0) as yd3_per_crew_h,
    v.placed / nullif(o.labor_h, 0) as yd3_per_labor_h,
    p.area / nullif(o.labor_h, 0) as ft2_per_labor_h,
    p.area / nullif(o.finish_labor_h, 0) as finish_ft2_per_labor_h,
    p.area / nullif(o.finish_stay_h, 0) as finish_stay_ft2_per_labor_h,
    100 * o.labor_h / p.area as labor_h_per_100ft2,
    v.placed / nullif(date_diff('second', p.place_start, p.place_end) / 3600.0, 0)
        as place_yd3_per_h,
    c.workers,
    c.labor_cost_usd,
    c.cost_from
from pours as p
inner join volume as v on p.pour_id = v.pour_id
inner join hours as o on p.pour_id = o.pour_id
inner join costs as c on p.pour_id = c.pour_id
left join pass_time as t on p.pour_id = t.pour_id
