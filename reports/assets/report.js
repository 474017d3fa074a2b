'use strict';
// Tables: a click on a head sorts by it, typing in the search field filters.
const key = (cell, kind) => {
  const text = cell.textContent.trim();
  if (kind === 'd') return text ? Date.parse(text) : Infinity;
  if (kind !== 'n') return text;
  const found = text.replace(/,/g, '').match(/-?\d+(\.\d+)?/);
  return found ? Number(found[0]) + (text.startsWith('under') ? -1e-9 : 0) : -Infinity;
};
const compare = (a, b) => (a < b ? -1 : a > b ? 1 : 0);
document.querySelectorAll('.table th button').forEach((button) => button.addEventListener('click', () => {
  const head = button.parentElement, body = button.closest('table').tBodies[0], at = head.cellIndex;
  const down = head.getAttribute('aria-sort') === 'ascending';
  head.parentElement.querySelectorAll('th').forEach((other) => other.removeAttribute('aria-sort'));
  head.setAttribute('aria-sort', down ? 'descending' : 'ascending');
  const rows = [...body.rows].map((row) => [key(row.cells[at], head.dataset.kind), row]);
  rows.sort((a, b) => (down ? compare(b[0], a[0]) : compare(a[0], b[0])));
  body.append(...rows.map((pair) => pair[1]));
}));
document.querySelectorAll('.table input').forEach((input) => input.addEventListener('input', () => {
  const wanted = input.value.toLowerCase();
  for (const row of input.closest('table').tBodies[0].rows) {
    row.hidden = !row.textContent.toLowerCase().includes(wanted);
  }
}));

// Figures: drawn when they scroll near, with the library that is unpacked after the first paint.
const ROLES = {
  paper: '#FBF9F4', ahead: '#F4F0E7', ink: '#211E1B', soft: '#544E47', line: '#857D6F',
  hair: '#D6CFC1', beet: '#8A2560', edge: '#A9668C', band50: '#D3A9BF', band90: '#F1E3EB',
};
const PRINT_WIDTH = 680;
let printing = false;
const content = (plot) => {
  let text = document.querySelector(`script[data-for="${plot.id}"]`).textContent;
  if (printing) {
    text = text.replaceAll(`"${ROLES.paper}"`, '"#FFFFFF"');
  } else {
    const style = getComputedStyle(document.documentElement);
    for (const [role, colour] of Object.entries(ROLES)) {
      text = text.replaceAll(`"${colour}"`, `"${style.getPropertyValue('--' + role).trim()}"`);
    }
  }
  return JSON.parse(text);
};
const draw = (plot) => {
  const figure = content(plot);
  if (printing) {
    const share = Math.min(1, plot.clientWidth / plot.closest('main').clientWidth);
    figure.layout.width = Math.floor(PRINT_WIDTH * (share > 0.6 ? 1 : share > 0.4 ? 0.48 : 0.31));
    figure.layout.autosize = false;
  }
  plot.dataset.drawn = '1';
  return Plotly.react(plot, figure.data, figure.layout, { responsive: !printing, displayModeBar: false });
};
const drawAll = (again) => document.querySelectorAll('.plot').forEach((plot) => {
  if (again || !plot.dataset.drawn) draw(plot);
});
const unpack = async () => {
  const packed = Uint8Array.from(atob(document.getElementById('library').textContent), (c) => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  const library = document.createElement('script');
  library.textContent = await new Response(stream).text();
  document.head.append(library);
  const near = new IntersectionObserver((entries) => entries.forEach((entry) => {
    if (entry.isIntersecting) { near.unobserve(entry.target); draw(entry.target); }
  }), { rootMargin: '600px' });
  document.querySelectorAll('.plot').forEach((plot) => near.observe(plot));
  matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => {
    document.querySelectorAll('.plot[data-drawn]').forEach(draw);
  });
  addEventListener('beforeprint', () => { printing = true; drawAll(true); });
  addEventListener('afterprint', () => { printing = false; drawAll(true); });
};
if (document.getElementById('library').textContent) requestAnimationFrame(() => setTimeout(unpack));
