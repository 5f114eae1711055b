-- pour_weather: the weather of a pour's early hours
-- grain: one row a pour
-- key: pour_id
-- kept: yes
-- reads: span_weather, pass_starts, pours
--
-- Means as span_weather says, from place_start to the start of the first pass; without one, to 2 h
-- after place_end. Blank unless readings cover the whole stretch.
--
-- column | unit | meaning
-- pour_id | | the crew's own label of the pour
-- date | | day of the placement
-- site | | job site
-- from_time | | beginning of the stretch: place_start
-- to_time | | its end
-- to_from | | first_pass or place_end: what the end rests on
-- air_temp_f | degF | mean air temperature
-- humidity_pct | percent | mean relative humidity
-- wind_mph | mph | mean wind, as logged
-- sun_w_m2 | W/m2 | mean global horizontal irradiance
-- evaporation_lb_ft2_h | lb/ft2/h | mean evaporation (Uno 1998)
-- evaporation_max_lb_ft2_h | lb/ft2/h | greatest evaporation at a reading or an end of the stretch
-- tc_from | | pour, loads or air: where the concrete temperature comes from
-- evaporation_class | lb/ft2/h | class of the mean: under 0.1, 0.1 to 0.2, 0.2 and over; blank where tc_from is air

select
    p.pour_id,
    p.date,
    p.site,
    p.place_start as from_time,
    coalesce(f."start", p.place_end + interval 2 hour) as to_time,
    case
        when f."start" is not null then 'first_pass' when p.place_end is not null then 'place_end'
    end as to_from,
    w.air_temp_f,
    w.humidity_pct,
    w.wind_mph,
    w.sun_w_m2,
    w.evaporation_lb_ft2_h,
    w.evaporation_max_lb_ft2_h,
    w.tc_from,
    case
        when w.tc_from = 'air' or w.evaporation_lb_ft2_h is null then null
        when w.evaporation_lb_ft2_h < 0.1 then 'under 0.1'
        when w.evaporation_lb_ft2_h < 0.2 then '0.1 to 0.2'
        else '0.2 and over'
    end as evaporation_class
from pours as p
inner join span_weather as w on p.pour_id = w.pour_id and w.pass_no = 0
left join pass_starts as f on p.pour_id = f.pour_id and f.first_pass = 1
