-- truck_times: how long each load waited, unloaded and stayed, and whether the crew stood for it
-- grain: one row a load
-- key: pour_id, ticket
-- kept: no
-- reads: trucks, pours, house, settings
--
-- Loads of a pour follow each other by pour_start, else by arrived; then by arrived and ticket.
-- Totals of starved_min leave the balance loads out (called = balance).
-- The supplier's clock starts when the truck arrives; where the house rule free_clock is `due`, a
-- truck that came early is on the clock only from the time that it was due.
--
-- column | unit | meaning
-- pour_id | | the crew's own label of the pour
-- ticket | | number on the delivery ticket
-- date | | day of the placement
-- site | | job site
-- plant | | ready-mix plant
-- called | | ordered, balance
-- load_no | | the load's place in its pour, from 1; blank without pour_start and arrived
-- volume_yd3 | yd3 | volume on the ticket
-- returned_yd3 | yd3 | sent back or dumped
-- wait_min | min | from arrival to the beginning of unloading
-- unload_min | min | from the beginning to the end of unloading
-- site_min | min | from arrival to leaving the site
-- unload_min_per_yd3 | min/yd3 | unload_min over the volume unloaded (ticket less returned)
-- age_min | min | from water on cement to the end of unloading
-- late_min | min | from due to arrived; negative when early
-- first_late_min | min | how late the pour's first load was, 0 if early; blank for other loads
-- free_min | min | the supplier's free minutes: volume times the house rule free_min_per_yd3
-- free_from | | house where the owner set that rule, else assumed: check your supplier
-- stay_min | min | what the supplier's clock runs over: site_min, without left pour_end - arrived
-- over_min | min | stay beyond the free minutes, 0 if none
-- over_from | | left or pour_end: which time ended the stay
-- starved_min | min | how long the crew stood without concrete before this load; 0 for the first
-- wait_charge_usd | USD | billed for the wait

with free_rule as (
    select case when count(*) > 0 then 'house' else 'assumed' end as free_from
    from settings
    where name = 'free_min_per_yd3' and value <> ''
),

in_line as (
    select
        pour_id, ticket, plant, called, volume, returned, due, batched, arrived, pour_start,
        pour_end, "left", wait_charge,
        count(*) over (partition by pour_id) as loads,
        row_number() over (
            partition by pour_id
            order by coalesce(pour_start, arrived) nulls last, arrived nulls last, ticket
        ) as place_no,
        lag(pour_end) over (
            partition by pour_id
            order by coalesce(pour_start, arrived) nulls last, arrived nulls last, ticket
        ) as previous_pour_end
    from trucks
),

timed as (
    select
        l.pour_id, l.ticket, l.plant, l.called, l.volume, l.returned, l.arrived, l."left",
        l.wait_charge, l.previous_pour_end,
        case when coalesce(l.pour_start, l.arrived) is not null or l.loads = 1 then l.place_no end
            as load_no,
        l.volume - coalesce(l.returned, 0) as unloaded,
        l.volume * h.free_min_per_yd3 as free_min,
        date_diff('second', l.arrived, l.pour_start) / 60.0 as wait_min,
        date_diff('second', l.pour_start, l.pour_end) / 60.0 as unload_min,
        date_diff('second', l.arrived, l."left") / 60.0 as site_min,
        date_diff('second', l.batched, l.pour_end) / 60.0 as age_min,
        date_diff('second', l.due, l.arrived) / 60.0 as late_min,
        date_diff(
            'second',
            case when h.free_clock = 'due' and l.due > l.arrived then l.due else l.arrived end,
            coalesce(l."left", l.pour_end)
        ) / 60.0 as stay_min
    from in_line as l
    cross join house as h
)

select
    t.pour_id,
    t.ticket,
    p.date,
    p.site,
    t.plant,
    t.called,
    t.load_no,
    t.volume as volume_yd3,
    t.returned as returned_yd3,
    t.wait_min,
    t.unload_min,
    t.site_min,
    case when t.unloaded > 0 then t.unload_min / t.unloaded end as unload_min_per_yd3,
    t.age_min,
    t.late_min,
    case when t.load_no = 1 and t.late_min is not null then greatest(0.0, t.late_min) end
        as first_late_min,
    t.free_min,
    f.free_from,
    t.stay_min,
    case when t.stay_min is not null and t.free_min is not null
        then greatest(0.0, t.stay_min - t.free_min)
    end as over_min,
    case when t.stay_min is null then null when t."left" is not null then 'left' else 'pour_end' end
        as over_from,
    case
        when t.load_no = 1 then 0.0
        when t.load_no > 1 and t.arrived is not null and t.previous_pour_end is not null
            then greatest(0.0, date_diff('second', t.previous_pour_end, t.arrived) / 60.0)
    end as starved_min,
    t.wait_charge as wait_charge_usd
from timed as t
inner join pours as p on t.pour_id = p.pour_id
cross join free_rule as f
