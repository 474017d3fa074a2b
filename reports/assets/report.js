'use strict';
const all = (selector, within = document) => [...within.querySelectorAll(selector)];

// Tables: a click on a head sorts by it, typing in the search field filters, copy takes what is shown.
const key = (cell, kind) => {
  const text = cell.textContent.trim();
  if (kind === 'd') return text ? Date.parse(text) : Infinity;
  if (kind !== 'n') return text;
  const found = text.replace(/,/g, '').match(/-?\d+(\.\d+)?/);
  return found ? Number(found[0]) + (text.startsWith('under') ? -1e-9 : 0) : -Infinity;
};
const compare = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
all('.table th button').forEach((button) => button.addEventListener('click', () => {
  const head = button.parentElement, body = button.closest('table').tBodies[0], at = head.cellIndex;
  const down = head.getAttribute('aria-sort') === 'ascending';
  head.parentElement.querySelectorAll('th').forEach((other) => other.removeAttribute('aria-sort'));
  head.setAttribute('aria-sort', down ? 'descending' : 'ascending');
  const rows = [...body.rows].map((row) => [key(row.cells[at], head.dataset.kind), row]);
  rows.sort((a, b) => (down ? compare(b[0], a[0]) : compare(a[0], b[0])));
  body.append(...rows.map((pair) => pair[1]));
}));

// Looking closer: one machine, one part type, or both; the choice stands in the address after '#'.
const chosen = { machine: '', part_type: '' };
const closer = document.querySelector('.closer');
const escaped = (text) => text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&');
const mention = (name) => {
  const word = new RegExp(`(^|[^\\w-])${escaped(name)}($|[^\\w-])`);
  return (row) => word.test([...row.cells].map((cell) => cell.textContent).join(' | '));
};
const keeps = (table) => {
  const heads = [...table.tHead.rows[0].cells];
  const wanted = table.querySelector('input')?.value.toLowerCase() ?? '';
  const tests = Object.entries(chosen).filter((pair) => pair[1]).map(([name, value]) => {
    const at = heads.findIndex((head) => head.dataset.name === name);
    return at < 0 ? mention(value) : (row) => row.cells[at].textContent.trim() === value;
  });
  if (wanted) tests.push((row) => row.textContent.toLowerCase().includes(wanted));
  return (row) => tests.every((test) => test(row));
};
const sift = (table) => {
  const keep = keeps(table);
  let shown = 0;
  for (const row of table.tBodies[0].rows) {
    row.hidden = !keep(row);
    shown += !row.hidden;
  }
  return shown;
};
all('.table input').forEach((input) => input.addEventListener('input', () => sift(input.closest('table'))));

const defused = (text) => (/^'*[=+\-@\t\r]/.test(text) && !/^[+-]?[\d.,]+$/.test(text) ? `'${text}` : text);
const lines = (table) => [table.tHead.rows[0], ...table.tBodies[0].rows].filter((row) => !row.hidden)
  .map((row) => [...row.cells].map((cell) => defused(cell.textContent.trim().replace(/\s+/g, ' '))).join('\t'));
const copied = async (text) => {
  try {
    await navigator.clipboard.writeText(text);
  } catch {
    const area = document.createElement('textarea');
    area.value = text;
    document.body.append(area);
    area.select();
    document.execCommand('copy');
    area.remove();
  }
};
all('.table:not(.grid) caption').forEach((caption) => {
  const button = document.createElement('button');
  button.type = 'button';
  button.className = 'copy';
  button.textContent = 'copy';
  button.setAttribute('aria-label', `Copy: ${caption.closest('.table').getAttribute('aria-label')}`);
  button.addEventListener('click', async () => {
    await copied(lines(caption.closest('table')).join('\n'));
    button.textContent = 'copied';
    setTimeout(() => { button.textContent = 'copy'; }, 2000);
  });
  caption.querySelector('.head').append(button);
});

// Figures: drawn in idle time, nearest first, with the library that is unpacked after the first
// paint.
const ROLES = {
  paper: '#FBF9F4', ahead: '#F4F0E7', ink: '#211E1B', soft: '#544E47', line: '#857D6F',
  hair: '#D6CFC1', beet: '#8A2560', edge: '#A9668C', band50: '#D3A9BF', band90: '#F1E3EB',
};
const PRINT_WIDTH = 680;
const PRINT_ZOOM = 0.74;  // as in the style: letters of a figure as large as those of a table
let printing = false;
const source = (plot) => document.querySelector(`script[data-for="${plot.id}"]`).textContent;
const content = (plot) => {
  let text = source(plot);
  if (printing) {
    text = text.replaceAll(`"${ROLES.paper}"`, '"#FFFFFF"');
  } else {
    const style = getComputedStyle(document.documentElement);
    for (const [role, colour] of Object.entries(ROLES)) {
      text = text.replaceAll(`"${colour}"`, `"${style.getPropertyValue('--' + role).trim()}"`);
    }
  }
  return only(JSON.parse(text), chosen.machine);
};
// One machine of a figure: its own lines alone, its point among the paler others.
const PIECES = '*pieces';
const concerns = (figure, machine) => figure.data.some(
  (trace) => trace.meta === machine || trace.ids?.includes(machine));
const only = (figure, machine) => {
  if (!machine || !concerns(figure, machine)) return figure;
  const notes = figure.layout.annotations ?? [];
  figure.layout.annotations = notes.filter((note) => !note.name || note.name === machine);
  figure.data = figure.data.filter((trace) => [undefined, PIECES, machine].includes(trace.meta));
  figure.data.forEach((trace) => {
    if (trace.meta === PIECES) {
      for (const list of ['x', 'y', 'customdata']) {
        trace[list] = trace[list].filter((_, n) => trace.ids[n] === machine);
      }
      trace.ids = trace.ids.filter((name) => name === machine);
      return;
    }
    const at = trace.ids?.indexOf(machine) ?? -1;
    if (trace.ids) trace.marker.opacity = trace.ids.map((name) => (name === machine ? 1 : 0.25));
    if (at < 0 || figure.layout.annotations.some((note) => note.name === machine)) return;
    figure.layout.annotations.push({
      x: trace.x[at], y: trace.y[at] + (trace.error_y?.array[at] ?? 0), text: trace.customdata[at],
      showarrow: false, xanchor: 'center', yanchor: 'bottom', name: machine,
    });
  });
  return figure;
};
const draw = (plot, width = plot.clientWidth) => {
  const figure = content(plot);
  Object.assign(figure.layout, { width, autosize: false });
  if (printing) {
    const group = plot.closest('.figures').classList, has = (name) => group.contains(name);
    const share = has('wide') || has('one') ? 1 : has('small') || has('thirds') ? 0.31 : 0.48;
    figure.layout.width = Math.floor(PRINT_WIDTH * share / PRINT_ZOOM);
    if (share === 0.48) figure.layout.height = Math.round(0.8 * figure.layout.height);
  }
  plot.style.height = `${figure.layout.height}px`;
  plot.dataset.drawn = '1';
  return Plotly.react(plot, figure.data, figure.layout, {
    displayModeBar: false, staticPlot: plot.dataset.asked === undefined,
  });
};
// A figure answers the pointer once it is asked; until then it is a picture, drawn in less time.
const asked = (event) => {
  const plot = event.target.closest?.('.plot[data-drawn]');
  if (!plot || plot.dataset.asked || printing) return;
  plot.dataset.asked = '1';
  draw(plot);
};
const drawAll = (again) => all('.plot').forEach((plot) => {
  if (again ? plot.clientWidth : !plot.dataset.drawn) draw(plot);
});
const idle = window.requestIdleCallback ?? ((call) => setTimeout(call, 30));
// All places are read before anything is drawn: the page is laid out once for all figures. What
// is nearest to what the reader sees comes first.
const away = (plot) => Math.abs(plot.getBoundingClientRect().top);
const undrawn = () => all('.plot:not([data-drawn])')
  .map((plot) => [plot, plot.clientWidth, away(plot)])
  .filter((place) => place[1]).sort((one, other) => one[2] - other[2]);
const drawRest = (left = undrawn()) => {
  const until = performance.now() + 100;  // then the page may answer its reader
  while (left.length && performance.now() < until) {
    const [plot, width] = left.shift();
    if (!plot.dataset.drawn) draw(plot, width);
  }
  if (left.length) setTimeout(() => drawRest(left)); else laidOut();
};
const laidOut = () => {
  document.documentElement.classList.add('drawn');  // the style lays out what is off the screen
  document.body.getBoundingClientRect();
  performance.mark('all-drawn');
};
const unpack = async () => {
  const text = atob(document.getElementById('library').textContent);
  const packed = new Uint8Array(text.length);
  for (let n = 0; n < text.length; n += 1) packed[n] = text.charCodeAt(n);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  const library = document.createElement('script');
  library.textContent = await new Response(stream).text();
  document.head.append(library);
  idle(() => drawRest());
  addEventListener('pointerover', asked);
  let pause = 0, before = innerWidth;
  addEventListener('resize', () => {
    clearTimeout(pause);
    pause = setTimeout(() => {
      if (before !== innerWidth && !printing) drawAll(true);
      before = innerWidth;
    }, 150);
  });
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
    all('.plot[data-drawn]').forEach(draw);
  });
  addEventListener('beforeprint', () => { printing = true; drawAll(true); });
  addEventListener('afterprint', () => { printing = false; drawAll(true); });
};
if (document.getElementById('library').textContent) requestAnimationFrame(() => setTimeout(unpack));

// What the choice leaves: rows that name it, figures about it, sections that have any of these.
const figureStays = (figure) => {
  const { machine, part_type: part } = chosen;
  if (part && figure.dataset.part !== part) return false;
  const plot = figure.querySelector('.plot');
  return !machine || Boolean(plot && concerns(JSON.parse(source(plot)), machine));
};
const look = (scroll) => {
  const active = Boolean(chosen.machine || chosen.part_type);
  let rows = 0, tables = 0;
  all('main .table').forEach((box) => {
    const table = box.querySelector('table');
    let shown;
    if (box.classList.contains('grid')) {
      const kept = [...table.tBodies[0].rows].filter((row) => {
        row.hidden = Boolean(chosen.machine) && row.dataset.machine !== chosen.machine;
        return !row.hidden;
      });
      shown = chosen.part_type ? 0 : kept.length;
    } else {
      shown = sift(table);
      if (active && shown) { rows += shown; tables += 1; }
    }
    box.hidden = active && !shown;
    const fold = box.closest('details');
    if (!fold) return;
    fold.hidden = box.hidden;
    fold.dataset.was ??= fold.open ? 'open' : '';
    fold.open = active ? shown > 0 && shown <= 40 : Boolean(fold.dataset.was);
  });
  all('main figure').forEach((figure) => { figure.hidden = active && !figureStays(figure); });
  all('.figures').forEach((group) => {
    group.hidden = !group.querySelector('figure:not([hidden])');
    if (group.nextElementSibling?.classList.contains('read')) group.nextElementSibling.hidden = group.hidden;
  });
  all('.key').forEach((words) => { words.hidden = words.nextElementSibling.hidden; });
  all('main > section:not(.letter)').forEach((section) => {
    section.hidden = active && !section.querySelector('.table:not([hidden]), figure:not([hidden])');
  });
  document.body.classList.toggle('close', active);
  document.body.classList.toggle('one-machine', Boolean(chosen.machine));
  const said = active ? `${rows} ${rows === 1 ? 'row' : 'rows'} in ${tables} ${tables === 1 ? 'table' : 'tables'}` : '';
  closer.querySelector('output').textContent = said;
  const whence = closer.querySelector('.whence');
  const shell = /^[\w.:-]+$/.test(chosen.machine) ? chosen.machine : `'${chosen.machine.replaceAll("'", "'\\''")}'`;
  whence.hidden = !chosen.machine;
  whence.querySelector('code').textContent = `wearahead evidence ${shell}`;
  if (typeof Plotly !== 'undefined') {
    all('.plot').forEach((plot) => { delete plot.dataset.drawn; });
    idle(() => drawRest());
  }
  if (active && scroll) closer.scrollIntoView();
};
const read = (scroll) => {
  const hash = location.hash.slice(1);
  const asked = new URLSearchParams(hash.includes('=') ? hash.replaceAll('+', '%2B') : '');
  if (hash && !hash.includes('=')) return;
  for (const name of Object.keys(chosen)) {
    const select = closer.elements[name];
    select.value = asked.get(name) ?? '';
    chosen[name] = select.value;
  }
  look(scroll);
};
const write = () => {
  const asked = Object.keys(chosen).filter((name) => closer.elements[name].value)
    .map((name) => `${name}=${encodeURIComponent(closer.elements[name].value)}`);
  history.replaceState(null, '', asked.length ? `#${asked.join('&')}` : '#');
  read(false);
};
closer.hidden = false;
closer.addEventListener('change', write);
closer.addEventListener('submit', (event) => event.preventDefault());
closer.addEventListener('reset', () => setTimeout(() => {
  history.replaceState(null, '', '#');
  for (const name of Object.keys(chosen)) chosen[name] = '';
  look(false);
}));
addEventListener('hashchange', () => read(true));
if (location.hash.includes('=')) read(true);
