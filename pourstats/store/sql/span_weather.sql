-- span_weather: time-weighted means of the weather over each pass's gap and each pour's early hours
-- grain: one row a pass of pass_starts, and one row a pour (pass_no 0)
-- key: pour_id, pass_no
-- kept: yes
-- reads: pass_starts, pours, trucks, weather
--
-- A pour's early hours run from place_start to the start of its first pass, without one to 2 h after
-- place_end. Inputs are linear between two readings; evaporation is worked out at each reading and
-- at both ends of the span and averaged by the trapezoid rule. The span counts as covered if
-- readings stand at or before its start and at or after its end with no two neighbours more than
-- 3 h apart from the one to the other; else, or without a length, the means are blank. A forecast
-- never counts as a reading. Sun is blank unless every reading used has it.
--
-- Evaporation in lb/ft2/h = max(0, (Tc^2.5 - r Ta^2.5)(1 + 0.4 V)) 1e-6, degF and mph, below 0 degF
-- as 0 (P. Uno, Plastic Shrinkage Cracking and Evaporation Formulas, ACI Materials Journal 95-M34,
-- 1998). V is the wind at 0.5 m, by a logarithmic profile with roughness 0.03 m from the height of
-- its reading; a reading at or below 0.5 m counts as it is. Tc is the pour's concrete_temp, else the
-- mean of its loads', else the air temperature of the moment. Indoors it is blank unless every
-- reading used took the wind at 2 m or lower.
--
-- column | unit | meaning
-- pour_id | | the crew's own label of the pour
-- pass_no | | the pass, or 0 for the pour's early hours
-- tc_from | | pour, loads or air: where the concrete temperature comes from
-- air_temp_f | degF | mean air temperature
-- humidity_pct | percent | mean relative humidity
-- wind_mph | mph | mean wind as logged
-- sun_w_m2 | W/m2 | mean global horizontal irradiance
-- evaporation_lb_ft2_h | lb/ft2/h | mean evaporation of surface water
-- evaporation_max_lb_ft2_h | lb/ft2/h | the greatest of the evaporations worked out

with load_temps as (
    select pour_id, avg(concrete_temp) as concrete_temp
    from trucks
    group by pour_id
),

slabs as (
    select
        p.pour_id,
        p.site,
        p.place_start,
        p.place_end,
        case when p.exposure = 'indoors' then 1 else 0 end as indoors,
        coalesce(p.concrete_temp, l.concrete_temp) as tc,
        case
            when p.concrete_temp is not null then 'pour'
            when l.concrete_temp is not null then 'loads'
            else 'air'
        end as tc_from
    from pours as p
    left join load_temps as l on p.pour_id = l.pour_id
),

spans as (
    select g.pour_id, g.pass_no, s.site, s.indoors, s.tc, s.tc_from,
        g.gap_from as began, g."start" as ended
    from pass_starts as g
    inner join slabs as s on g.pour_id = s.pour_id
    union all
    select s.pour_id, 0 as pass_no, s.site, s.indoors, s.tc, s.tc_from,
        s.place_start as began,
        coalesce(f."start", s.place_end + interval 2 hour) as ended
    from slabs as s
    left join pass_starts as f on s.pour_id = f.pour_id and f.first_pass = 1
),

-- spans meet readings by site and quarter day: a reading's own quarter, and of a span every quarter
-- from 3 h before it (its first reading may be that old) to its end
span_quarters as (
    select pour_id, pass_no, site, indoors, tc, began, ended,
        unnest(generate_series(
            cast(floor((date_diff('second', timestamp '1970-01-01 00:00:00', began) - 10800) / 21600.0) as bigint),
            cast(floor(date_diff('second', timestamp '1970-01-01 00:00:00', ended) / 21600.0) as bigint)
        )) as quarter
    from spans
    where ended > began
),

readings as (
    select
        site,
        time as moment,
        air_temp,
        humidity,
        wind,
        sun,
        coalesce(wind_height, 10) as height,
        wind * case
            when wind_height <= 0.5 then 1
            else ln(0.5 / 0.03) / ln(coalesce(wind_height, 10) / 0.03)
        end as slab_wind
    from weather
    where source is null or source <> 'forecast'
),

-- from each reading to the next
neighbours as (
    select
        site,
        moment as began,
        lead(moment) over (partition by site order by moment) as ended,
        air_temp as air_a,
        lead(air_temp) over (partition by site order by moment) as air_b,
        humidity as humidity_a,
        lead(humidity) over (partition by site order by moment) as humidity_b,
        wind as wind_a,
        lead(wind) over (partition by site order by moment) as wind_b,
        sun as sun_a,
        lead(sun) over (partition by site order by moment) as sun_b,
        slab_wind as slab_wind_a,
        lead(slab_wind) over (partition by site order by moment) as slab_wind_b,
        height as height_a,
        lead(height) over (partition by site order by moment) as height_b
    from readings
),

steps as (
    select
        site, began, ended, air_a, air_b, humidity_a, humidity_b, wind_a, wind_b, sun_a, sun_b,
        slab_wind_a, slab_wind_b,
        greatest(height_a, height_b) as height,
        date_diff('second', began, ended) as seconds,
        cast(floor(date_diff('second', timestamp '1970-01-01 00:00:00', began) / 21600.0) as bigint)
            as quarter
    from neighbours
    where ended > began and date_diff('second', began, ended) <= 10800
),

-- the part of a step that lies in a span; from_share and to_share place its ends between the readings
pieces as (
    select
        s.pour_id, s.pass_no, s.indoors, s.tc, w.height,
        w.air_a, w.air_b, w.humidity_a, w.humidity_b, w.wind_a, w.wind_b, w.sun_a, w.sun_b,
        w.slab_wind_a, w.slab_wind_b,
        date_diff('second', greatest(s.began, w.began), least(s.ended, w.ended)) as seconds,
        date_diff('second', w.began, greatest(s.began, w.began)) * 1.0 / w.seconds as from_share,
        date_diff('second', w.began, least(s.ended, w.ended)) * 1.0 / w.seconds as to_share
    from span_quarters as s
    inner join steps as w
        on
            s.site = w.site and s.quarter = w.quarter
            and w.began < s.ended and w.ended > s.began
),

ends as (
    select
        pour_id, pass_no, indoors, tc, height, seconds,
        air_a + (air_b - air_a) * from_share as air_a,
        air_a + (air_b - air_a) * to_share as air_b,
        humidity_a + (humidity_b - humidity_a) * from_share as humidity_a,
        humidity_a + (humidity_b - humidity_a) * to_share as humidity_b,
        wind_a + (wind_b - wind_a) * from_share as wind_a,
        wind_a + (wind_b - wind_a) * to_share as wind_b,
        sun_a + (sun_b - sun_a) * from_share as sun_a,
        sun_a + (sun_b - sun_a) * to_share as sun_b,
        slab_wind_a + (slab_wind_b - slab_wind_a) * from_share as slab_wind_a,
        slab_wind_a + (slab_wind_b - slab_wind_a) * to_share as slab_wind_b
    from pieces
),

evaporations as (
    select
        pour_id, pass_no, indoors, height, seconds, air_a, air_b, humidity_a, humidity_b,
        wind_a, wind_b, sun_a, sun_b,
        greatest(0.0, (
            power(greatest(0.0, coalesce(tc, air_a)), 2.5)
            - humidity_a / 100 * power(greatest(0.0, air_a), 2.5)
        ) * (1 + 0.4 * slab_wind_a)) / 1000000 as evaporation_a,
        greatest(0.0, (
            power(greatest(0.0, coalesce(tc, air_b)), 2.5)
            - humidity_b / 100 * power(greatest(0.0, air_b), 2.5)
        ) * (1 + 0.4 * slab_wind_b)) / 1000000 as evaporation_b
    from ends
),

sums as (
    select
        pour_id,
        pass_no,
        sum(seconds) as seconds,
        sum(seconds * (air_a + air_b) / 2) as air_s,
        sum(seconds * (humidity_a + humidity_b) / 2) as humidity_s,
        sum(seconds * (wind_a + wind_b) / 2) as wind_s,
        case when count(sun_a + sun_b) = count(*) then sum(seconds * (sun_a + sun_b) / 2) end
            as sun_s,
        case when max(indoors) = 1 and max(height) > 2 then null
            else sum(seconds * (evaporation_a + evaporation_b) / 2)
        end as evaporation_s,
        case when max(indoors) = 1 and max(height) > 2 then null
            else max(greatest(evaporation_a, evaporation_b))
        end as evaporation_max
    from evaporations
    group by pour_id, pass_no
)

select
    s.pour_id,
    s.pass_no,
    s.tc_from,
    w.air_s / w.seconds as air_temp_f,
    w.humidity_s / w.seconds as humidity_pct,
    w.wind_s / w.seconds as wind_mph,
    w.sun_s / w.seconds as sun_w_m2,
    w.evaporation_s / w.seconds as evaporation_lb_ft2_h,
    case when w.seconds is not null then w.evaporation_max end as evaporation_max_lb_ft2_h
from spans as s
left join sums as w
    on
        s.pour_id = w.pour_id and s.pass_no = w.pass_no
        and w.seconds = date_diff('second', s.began, s.ended)
