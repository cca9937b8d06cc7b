// Draws the control charts of a station; without it the tables below each chart say the same.
(() => {
  "use strict";
  const source = document.getElementById("drift-data");
  if (!source || typeof uPlot === "undefined") return;
  const probe = document.createElement("span");
  document.body.append(probe);
  const colour = (name) => {
    probe.style.color = `var(${name})`;
    return getComputedStyle(probe).color;
  };
  const style = getComputedStyle(document.body);
  const ink = style.color;
  const font = `13px ${style.fontFamily}`;
  const mark = colour("--act");
  probe.remove();
  const months = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");
  const inWords = (instant) => {
    const day = new Date(instant * 1000);
    return `${day.getUTCDate()} ${months[day.getUTCMonth()]} ${day.getUTCFullYear()}`;
  };
  const seconds = (day) => Date.parse(`${day}T00:00:00Z`) / 1000;
  const level = (length, value) => Array(length).fill(value);
  for (const chart of JSON.parse(source.textContent)) {
    const place = document.getElementById(chart.key);
    if (!place || chart.days.length === 0) continue;
    place.hidden = false;
    const count = chart.days.length;
    // Without a pointer on the chart the line below it speaks of the last week; a number that does
    // not exist is said in words.
    const atLast = (drawn) => drawn.cursor.idx == null && drawn.setLegend({ idx: count - 1 }, false);
    const limit = (_, value) => (value == null ? "no base line yet" : value);
    const axis = { font, labelFont: font, stroke: ink, grid: { stroke: ink, width: 0.15 }, ticks: { stroke: ink, width: 0.5 } };
    const drawn = new uPlot(
      {
        width: Math.max(280, Math.min(place.clientWidth, 1600)),
        height: 240,
        tzDate: (instant) => uPlot.tzDate(new Date(instant * 1000), "Etc/UTC"),
        scales: { x: { time: true } },
        axes: [{ ...axis, space: 72, values: (_, days) => days.map(inWords) }, { ...axis, size: 56 }],
        hooks: { setCursor: [atLast] },
        series: [
          { label: "Week of", value: (_, day) => (day == null ? "no week" : inWords(day)) },
          { label: "Mean", value: (_, mean) => (mean == null ? "not measured" : mean), stroke: mark, width: 2, points: { show: true, size: 6 } },
          { label: "Centre", value: limit, stroke: ink, width: 1, points: { show: false } },
          { label: "Lower limit", value: limit, stroke: ink, width: 1, dash: [6, 4], points: { show: false } },
          { label: "Upper limit", value: limit, stroke: ink, width: 1, dash: [6, 4], points: { show: false } },
        ],
      },
      [
        chart.days.map(seconds),
        chart.values,
        level(count, chart.centre),
        level(count, chart.lower),
        level(count, chart.upper),
      ],
      place,
    );
    atLast(drawn);
  }
})();
