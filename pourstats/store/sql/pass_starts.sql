-- pass_starts: the passes of a pour in time order, and from when their gap counts
-- grain: one row a pass
-- key: pour_id, pass_no
-- kept: yes
-- reads: passes, pours
--
-- A pour without a logged pass has its machine_on instead: pass_no 1, without end.
-- Passes follow each other by start, then by pass_no, edges included. The first pass is the
-- earliest whose part is not edges.
--
-- column | unit | meaning
-- pour_id | | the crew's own label of the pour
-- pass_no | | the pass's number as logged
-- logged | | 1 for a logged pass, 0 where machine_on stands in
-- first_pass | | 1 for the first pass over the slab, else 0
-- tool | | what was on the machine or in the hand
-- machine | | which machine
-- part | | which part of the slab
-- held_up | | what kept the crew off it
-- ready | | when it would have taken the machine
-- footprint_in | in | depth of a boot print when the pass began
-- start | | pass begun
-- end | | pass done
-- gap_from | | end of the pass before; for the earliest, bull_float_end, else place_end

with in_order as (
    select
        pour_id,
        pass_no,
        tool, machine, part, held_up, ready, footprint,
        "start",
        "end",
        row_number() over (partition by pour_id order by "start", pass_no) as place_no,
        lag("end") over (partition by pour_id order by "start", pass_no) as end_before,
        row_number() over (
            partition by pour_id
            order by case when part = 'edges' then 1 else 0 end, "start", pass_no
        ) as first_no,
        case when part = 'edges' then 1 else 0 end as edges
    from passes
),

logged as (
    select distinct pour_id from passes
)

select
    o.pour_id,
    o.pass_no,
    1 as logged,
    case when o.first_no = 1 and o.edges = 0 then 1 else 0 end as first_pass,
    o.tool,
    o.machine,
    o.part,
    o.held_up,
    o.ready,
    o.footprint as footprint_in,
    o."start",
    o."end",
    case when o.place_no = 1 then coalesce(p.bull_float_end, p.place_end) else o.end_before end
        as gap_from
from in_order as o
inner join pours as p on o.pour_id = p.pour_id
union all
select
    p.pour_id,
    1 as pass_no,
    0 as logged,
    1 as first_pass,
    cast(null as varchar) as tool,
    cast(null as varchar) as machine,
    cast(null as varchar) as part,
    cast(null as varchar) as held_up,
    cast(null as timestamp) as ready,
    cast(null as double) as footprint_in,
    p.machine_on as "start",
    cast(null as timestamp) as "end",
    coalesce(p.bull_float_end, p.place_end) as gap_from
from pours as p
left join logged as l on p.pour_id = l.pour_id
where p.machine_on is not null and l.pour_id is null
