-- pass_intervals: when each pass came, how long it took, and the weather of its gap
-- grain: one row a pass; a pour without logged passes has one row for its machine_on
-- key: pour_id, pass_no
-- kept: no
-- reads: pass_starts, span_weather, pours
--
-- Means over the gap as span_weather says: time-weighted, blank unless readings cover the gap.
--
-- column | unit | meaning
-- pour_id | | the crew's own label of the pour
-- pass_no | | the pass's number; 1 where machine_on stands in
-- date | | day of the placement
-- site | | job site
-- tool | | what was on the machine or in the hand
-- machine | | which machine
-- part | | which part of the slab
-- held_up | | what kept the crew off it
-- pass_from | | passes, or machine_on where no pass is logged
-- first_pass | | true for the pour's earliest pass whose part is not edges
-- ready | | when it would have taken the machine
-- start | | pass begun
-- end | | pass done
-- footprint_in | in | depth of a boot print when the pass began
-- since_placed_min | min | from place_end to the start of the pass; negative while still placing
-- since_start_min | min | from place_start to the start of the pass
-- gap_min | min | from the end of the pass before to the start; for the earliest pass from bull_float_end, else place_end
-- pass_min | min | length of the pass
-- air_temp_f | degF | mean air temperature over the gap
-- humidity_pct | percent | mean relative humidity over the gap
-- wind_mph | mph | mean wind over the gap, as logged
-- sun_w_m2 | W/m2 | mean global horizontal irradiance over the gap
-- evaporation_lb_ft2_h | lb/ft2/h | mean evaporation over the gap (Uno 1998)
-- tc_from | | pour, loads or air: where the concrete temperature comes from
-- evaporation_class | lb/ft2/h | under 0.1, 0.1 to 0.2, 0.2 and over; blank where tc_from is air

select
    g.pour_id,
    g.pass_no,
    p.date,
    p.site,
    g.tool,
    g.machine,
    g.part,
    g.held_up,
    case when g.logged = 1 then 'passes' else 'machine_on' end as pass_from,
    g.first_pass = 1 as first_pass,
    g.ready,
    g."start",
    g."end",
    g.footprint_in,
    date_diff('second', p.place_end, g."start") / 60.0 as since_placed_min,
    date_diff('second', p.place_start, g."start") / 60.0 as since_start_min,
    date_diff('second', g.gap_from, g."start") / 60.0 as gap_min,
    date_diff('second', g."start", g."end") / 60.0 as pass_min,
    w.air_temp_f,
    w.humidity_pct,
    w.wind_mph,
    w.sun_w_m2,
    w.evaporation_lb_ft2_h,
    w.tc_from,
    case
        when w.tc_from = 'air' or w.evaporation_lb_ft2_h is null then null
        when w.evaporation_lb_ft2_h < 0.1 then 'under 0.1'
        when w.evaporation_lb_ft2_h < 0.2 then '0.1 to 0.2'
        else '0.2 and over'
    end as evaporation_class
from pass_starts as g
inner join pours as p on g.pour_id = p.pour_id
left join span_weather as w on g.pour_id = w.pour_id and g.pass_no = w.pass_no
