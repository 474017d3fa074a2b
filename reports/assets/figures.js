'use strict';
// Figures: SVG drawn from a figure's data ({data, layout}, as reports/figures/chart.py writes it).
// Colours are the page's own variables, so that dark mode and print need no drawing of their own.
const SVG = 'http://www.w3.org/2000/svg';
const DAY = 864e5;
const WEEKS = [1, 2, 4, 8, 13, 26, 52, 104];
const MONTHS = 'Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec'.split(' ');
const NEAR = 30;  // pixels from the pointer within which a point says what it is

const put = (parent, name, attributes, text) => {
  const made = document.createElementNS(SVG, name);
  for (const key of Object.keys(attributes)) {
    if (attributes[key] !== undefined) made.setAttribute(key, attributes[key]);
  }
  if (text !== undefined) made.textContent = text;
  parent.append(made);
  return made;
};
const number = (value) => (typeof value === 'string' ? Date.parse(value) : value);
const px = (value) => Math.round(value * 10) / 10;
const item = (value, n) => (Array.isArray(value) ? value[n] : value);
const formats = [0, 1, 2, 3, 4].map((digits) => new Intl.NumberFormat(
  'en-GB', { minimumFractionDigits: digits, maximumFractionDigits: digits }));
const shownDay = (at) => `${new Date(at).getUTCDate()} ${MONTHS[new Date(at).getUTCMonth()]}`;

// Where the marks stand on an axis that names none: even steps, or Mondays.
const evenTicks = (low, high, most, whole) => {
  const raw = (high - low) / most, power = 10 ** Math.floor(Math.log10(raw));
  let step = power * [1, 2, 5, 10].find((times) => times * power >= raw * (1 - 1e-9));
  if (whole) step = Math.max(1, step);
  const digits = Math.min(4, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
  const found = [];
  for (let n = Math.ceil(low / step - 1e-9) || 0; n * step <= high * (1 + 1e-9); n += 1) {
    found.push([n * step, formats[digits].format(n * step)]);
  }
  return found;
};
const mondays = (low, high, most) => {
  const step = 7 * (WEEKS.find((weeks) => (high - low) / (7 * DAY * weeks) <= most) ?? 208);
  const found = [];
  for (let day = Math.ceil((low / DAY - 4) / step) * step + 4; day * DAY <= high; day += step) {
    found.push([day * DAY, shownDay(day * DAY)]);
  }
  return found;
};

// An axis: from its values to pixels between two ends, and its marks.
const scale = (own, from, to, values, room) => {
  const level = own.type === 'log' ? Math.log10 : (value) => value;
  let [low, high] = own.range?.map(number) ?? [Infinity, -Infinity];
  if (!own.range) {
    for (const value of values.map(level)) {
      if (Number.isFinite(value)) { low = Math.min(low, value); high = Math.max(high, value); }
    }
    if (low > high) [low, high] = [0, 1];
    const pad = 0.06 * (high - low || 1);
    if (own.rangemode === 'tozero' && low >= 0) low = 0; else low -= pad;
    high += pad;
  }
  const at = (value) => from + (level(number(value)) - low) / (high - low) * (to - from);
  const most = Math.max(2, Math.min(own.nticks ?? 6, Math.floor(Math.abs(to - from) / room)));
  let ticks;
  if (own.tickvals) ticks = own.tickvals.map((value, n) => [value, own.ticktext[n]]);
  else if (own.tickformat === 'day') ticks = mondays(low, high, most);
  else ticks = evenTicks(low, high, most, own.tickformat === 'whole');
  const ends = [Math.min(from, to) - 0.5, Math.max(from, to) + 0.5];
  const inside = (place) => place >= ends[0] && place <= ends[1];
  return { own, at, inside, ticks: ticks.filter((tick) => inside(at(tick[0]))), from, to };
};

// What the bars of a figure reach from and to: stacked on each other, or from their own base.
const stacked = (data, stack) => {
  const sums = new Map();
  return data.map((trace) => {
    if (trace.type !== 'bar') return null;
    const flat = trace.orientation === 'h';
    const [places, sizes] = flat ? [trace.y, trace.x] : [trace.x, trace.y];
    return sizes.map((size, n) => {
      const key = `${trace.yaxis ?? 'y'} ${places[n]}`;
      const base = stack ? sums.get(key) ?? 0 : item(trace.base, n) ?? 0;
      if (stack) sums.set(key, base + size);
      return [base, base + size];
    });
  });
};

const dashes = (line) => {
  if (line.dash === 'dot') return { 'stroke-dasharray': `0.1 ${2.4 * line.width}`, 'stroke-linecap': 'round' };
  return { 'stroke-dasharray': line.dash?.replaceAll('px', '') };
};
const stroke = (line, more) => ({
  fill: 'none', stroke: line.color, 'stroke-width': line.width, 'stroke-linejoin': 'round', ...dashes(line), ...more,
});
const path = (points, steps) => {
  let text = '', before = null;
  for (const point of points) {
    if (point) {
      const corner = steps && before ? `H${px(point[0])}` : '';
      text += before ? `${corner}L${px(point[0])} ${px(point[1])}` : `M${px(point[0])} ${px(point[1])}`;
    }
    before = point;
  }
  return text;
};
const said = (trace, n) => trace.hovertemplate.replace(
  /%\{(x|y|customdata)(?:\[(\d)\])?(?::(\d|day))?\}/g, (_, name, k, how) => {
    const value = k === undefined ? trace[name][n] : trace[name][n][k];
    if (how === 'day') return shownDay(number(value));
    return how === undefined ? value : formats[how].format(value);
  });

const axes = (back, x, rows, right, foot) => {
  for (const y of rows) {
    for (const [value, text] of y.ticks) {
      const at = px(y.at(value));
      if (y.own.showgrid) put(back, 'line', { class: 'grid', x1: x.from, x2: right, y1: at, y2: at });
      put(back, 'text', { class: 'tick', x: x.from - 7, y: at + 4.5, 'text-anchor': 'end' }, text);
    }
  }
  if (x.own.visible === false) return;
  const [bottom, top] = [Math.max(...rows.map((y) => y.from)), Math.min(...rows.map((y) => y.to))];
  for (const [value, text] of x.own.showticklabels === false ? [] : x.ticks) {
    const at = px(x.at(value));
    if (x.own.showgrid) put(back, 'line', { class: 'grid', x1: at, x2: at, y1: top, y2: bottom });
    if (x.own.ticks) put(back, 'line', { class: 'axis', x1: at, x2: at, y1: bottom, y2: bottom - 5 });
    put(back, 'text', { class: 'tick', x: at, y: foot + 17, 'text-anchor': 'middle' }, text);
  }
  if (x.own.showline) put(back, 'line', { class: 'axis', x1: x.from, x2: right, y1: bottom, y2: bottom });
  const titles = [[x, (x.from + x.to) / 2, foot + 38]];
  for (const y of rows) titles.push([y, 14, (y.from + y.to) / 2]);
  for (const [own, left, down] of titles) {
    if (!own.own.title) continue;
    const turned = own === x ? undefined : `rotate(-90 ${left} ${px(down)})`;
    put(back, 'text', { class: 'tick', x: px(left), y: px(down), 'text-anchor': 'middle', transform: turned }, own.own.title);
  }
};

const errorBars = (svg, trace, points, x, y) => {
  for (const [name, flat] of [['error_x', true], ['error_y', false]]) {
    const bars = trace[name], own = flat ? x : y;
    if (!bars) continue;
    const values = flat ? trace.x : trace.y, cap = (bars.width ?? 0);
    const ends = points.map((point, n) => {
      if (!point) return '';
      const [low, high] = [values[n] - bars.arrayminus[n], values[n] + bars.array[n]].map((value) => px(own.at(value)));
      if (low === high) return '';
      if (flat) return `M${low} ${px(point[1])}H${high}`;
      const at = px(point[0]);
      return `M${at} ${low}V${high}${cap ? `M${at - cap} ${low}h${2 * cap}M${at - cap} ${high}h${2 * cap}` : ''}`;
    });
    put(svg, 'path', { d: ends.join(''), fill: 'none', stroke: bars.color, 'stroke-width': bars.thickness });
  }
};

const bars = (svg, trace, spans, x, y, layout, tell, hatch) => {
  const flat = trace.orientation === 'h', wide = trace.width ?? 1 - (layout.bargap ?? 0.2);
  const [across, along] = flat ? [y, x] : [x, y];
  const tops = spans.map(([base, end], n) => {
    const place = number(flat ? trace.y[n] : trace.x[n]);
    const [one, other] = [place - wide / 2, place + wide / 2].map(across.at);
    const [from, to] = [base, end].map(along.at);
    const [left, top] = flat ? [Math.min(from, to), Math.min(one, other)] : [Math.min(one, other), Math.min(from, to)];
    const [long, thick] = [Math.abs(to - from), Math.abs(other - one)];
    const [width, height] = flat ? [long, thick] : [thick, long];
    if (end !== base) {
      put(svg, 'rect', {
        x: px(left), y: px(top), width: px(width), height: px(height),
        fill: trace.marker.pattern ? `url(#${hatch})` : item(trace.marker.color, n),
        stroke: item(trace.marker.line?.color, n), 'stroke-width': trace.marker.line?.width,
      });
      if (trace.hovertemplate) tell.push({ x: left, y: top, width, height, text: () => said(trace, n) });
    }
    return flat ? [to, top + height / 2] : [left + width / 2, to];
  });
  errorBars(svg, trace, tops, x, y);
};

const marks = (svg, trace, points, clipped, x, y) => {
  const { marker } = trace, shown = put(svg, 'g', {});
  points.forEach((point, n) => {
    const size = item(marker.size, n);
    if (!point || !size || (clipped && !(x.inside(point[0]) && y.inside(point[1])))) return;
    const colours = { fill: item(marker.color, n), stroke: marker.line?.color, 'stroke-width': marker.line?.width };
    const faded = item(marker.opacity, n);
    const [left, top] = point.map(px);
    if (marker.symbol === 'line-ns') put(shown, 'path', { d: `M${left} ${top - size / 2}v${size}`, ...colours });
    else put(shown, 'circle', { cx: left, cy: top, r: size / 2, opacity: faded, ...colours });
  });
};

const lines = (svg, trace, points, before, clip, x, y, tell) => {
  const steps = trace.line?.shape === 'hv', d = trace.mode.includes('lines') ? path(points, steps) : '';
  if (trace.fill && before) {
    const edge = [...points, ...[...before].reverse()];
    put(svg, 'path', { d: `${path(edge)}Z`, fill: trace.fillcolor, 'clip-path': clip });
  }
  if (d) put(svg, 'path', stroke(trace.line, { d, 'clip-path': clip }));
  errorBars(svg, trace, points, x, y);
  if (trace.mode.includes('markers')) marks(svg, trace, points, trace.cliponaxis !== false, x, y);
  if (!trace.hovertemplate) return;
  points.forEach((point, n) => { if (point) tell.push({ x: point[0], y: point[1], text: () => said(trace, n) }); });
};

const shape = (svg, own, x, y, box) => {
  const [left, right] = [own.x0, own.x1].map((v) => px(own.xref === 'paper' ? box.left + v * (box.right - box.left) : x.at(v)));
  const [top, foot] = [own.y1, own.y0].map((v) => px(own.yref === 'paper' ? box.foot - v * (box.foot - box.top) : y.at(v)));
  if (own.type === 'rect') {
    put(svg, 'rect', { x: left, y: top, width: Math.max(0, right - left), height: foot - top, fill: own.fillcolor });
  } else put(svg, 'path', stroke(own.line, { d: `M${left} ${foot}L${right} ${top}` }));
};
const note = (svg, own, x, y, box) => {
  const size = own.font?.size ?? 13;
  const left = own.xref === 'paper' ? box.left + own.x * (box.right - box.left) : x.at(own.x);
  const top = own.yref === 'paper' ? box.foot - own.y * (box.foot - box.top) : y.at(own.y);
  const anchor = { left: 'start', center: 'middle', right: 'end' }[own.xanchor ?? 'left'];
  put(svg, 'text', {
    x: px(left + (own.xshift ?? 0)), y: px(top + (own.yanchor === 'bottom' ? -5 : 0.35 * size)), 'text-anchor': anchor,
    fill: own.font?.color, 'font-size': size === 13 ? undefined : size, class: own.halo ? 'halo' : undefined,
  }, own.text);
};

// Draw one figure into its place; what its points say on being pointed at stays with the place.
const picture = (plot, { data, layout }, width) => {
  const svg = document.createElementNS(SVG, 'svg'), tell = [];
  const box = {
    left: layout.margin.l, right: width - layout.margin.r,
    top: layout.margin.t, foot: layout.height - layout.margin.b,
  };
  for (const [key, value] of Object.entries({ width, height: layout.height })) svg.setAttribute(key, value);
  const spans = stacked(data, layout.barmode === 'stack');
  const ends = (trace, name, n) => {
    const flat = trace.orientation === 'h', error = trace[`error_${name}`];
    if (spans[n] && flat === (name === 'x')) return spans[n].flatMap(([from, to], k) => [from, to + (error?.array[k] ?? 0)]);
    const values = trace[name].filter((value) => value !== null).map(number);
    return error ? values.flatMap((value, k) => [value - error.arrayminus[k], value + error.array[k]]) : values;
  };
  const x = scale(layout.xaxis, box.left, box.right, data.flatMap((trace, n) => ends(trace, 'x', n)), 58);
  const rows = ['yaxis', 'yaxis2'].filter((name) => layout[name]).map((name) => {
    const [low, high] = (layout[name].domain ?? [0, 1]).map((part) => box.foot - part * (box.foot - box.top));
    const own = data.flatMap((trace, n) => ((trace.yaxis === 'y2') === (name === 'yaxis2') ? ends(trace, 'y', n) : []));
    return scale(layout[name], low, high, own, 20);
  });
  const defs = put(svg, 'defs', {});
  const clips = rows.map((y, n) => {
    const clip = put(defs, 'clipPath', { id: `${plot.id}-c${n}` });
    put(clip, 'rect', { x: box.left, y: y.to, width: Math.max(0, box.right - box.left), height: y.from - y.to });
    return `url(#${plot.id}-c${n})`;
  });
  const hatched = data.find((trace) => trace.marker?.pattern);
  if (hatched) {
    const tile = put(defs, 'pattern', { id: `${plot.id}-h`, width: 5, height: 5, patternUnits: 'userSpaceOnUse' });
    put(tile, 'rect', { width: 5, height: 5, fill: hatched.marker.color });
    put(tile, 'path', { d: 'M-1 1L1 -1M0 5L5 0M4 6L6 4', stroke: hatched.marker.pattern.fgcolor });
  }
  const shapes = layout.shapes ?? [], [first] = rows;
  shapes.filter((own) => own.layer === 'below').forEach((own) => shape(svg, own, x, first, box));
  axes(svg, x, rows, box.right, box.foot);
  let before = null;
  data.forEach((trace, n) => {
    const row = trace.yaxis === 'y2' ? 1 : 0, y = rows[row];
    if (spans[n]) return bars(svg, trace, spans[n], x, y, layout, tell, `${plot.id}-h`);
    const points = trace.x.map((value, k) => (value === null || trace.y[k] === null ? null : [x.at(value), y.at(trace.y[k])]));
    lines(svg, trace, points, before, clips[row], x, y, tell);
    before = points;
  });
  shapes.filter((own) => own.layer !== 'below').forEach((own) => shape(svg, own, x, first, box));
  (layout.annotations ?? []).forEach((own) => note(svg, own, x, first, box));
  plot.style.height = `${layout.height}px`;
  plot.replaceChildren(svg);
  plot.told = tell;
};

// The point nearest the pointer, or the bar under it, says what it is.
const tip = document.createElement('div');
tip.className = 'tip';
tip.hidden = true;
tip.setAttribute('aria-hidden', 'true');
const pointed = (plot, x, y) => {
  let found = null, least = NEAR;
  for (const own of plot.told ?? []) {
    const inside = own.width && x >= own.x && x <= own.x + own.width && y >= own.y && y <= own.y + own.height;
    const away = own.width ? (inside ? 0 : Infinity) : Math.hypot(own.x - x, own.y - y);
    if (away < least) [found, least] = [own, away];
  }
  return found;
};
addEventListener('pointermove', (event) => {
  const plot = event.target.closest?.('.plot'), at = plot?.getBoundingClientRect();
  const found = plot && pointed(plot, event.clientX - at.left, event.clientY - at.top);
  tip.hidden = !found;
  if (!found) return;
  tip.textContent = found.text();
  const left = Math.min(event.clientX + 14, document.documentElement.clientWidth - tip.offsetWidth - 8);
  tip.style.transform = `translate(${Math.max(8, left)}px, ${Math.max(8, event.clientY - tip.offsetHeight - 12)}px)`;
});
document.body.append(tip);
