'use strict';(() => {
const list = document.getElementById('list'), body = list.tBodies[0];
// Sorting: a button in each heading.
[...list.tHead.rows[0].cells].forEach((head, at) => {
  const button = document.createElement('button');
  button.type = 'button'; button.textContent = head.textContent; head.replaceChildren(button);
  button.addEventListener('click', () => {
    const down = head.getAttribute('aria-sort') === 'ascending';
    for (const other of list.tHead.rows[0].cells) other.removeAttribute('aria-sort');
    head.setAttribute('aria-sort', down ? 'descending' : 'ascending');
    const key = row => row.cells[at].dataset.sort ?? row.cells[at].textContent;
    const order = new Intl.Collator('en', { numeric: true });
    const compare = (a, b) => { const x = key(a), y = key(b); return x !== '' && y !== '' && !isNaN(x) && !isNaN(y) ? x - y : order.compare(x, y); };
    body.append(...[...body.rows].sort((a, b) => down ? compare(b, a) : compare(a, b)));
  });
});
// Filtering: all words anywhere in the row.
const filter = document.getElementById('filter'), count = document.getElementById('count');
filter.parentElement.hidden = false;
filter.addEventListener('input', () => {
  const words = filter.value.toLowerCase().split(/\s+/);
  let shown = 0;
  for (const row of body.rows) { const text = row.textContent.toLowerCase(); row.hidden = !words.every(word => text.includes(word)); shown += !row.hidden; }
  count.textContent = shown + ' of ' + body.rows.length + ' parts';
});
// A part under the pointer or in focus is marked in the picture and in the table.
const mark = (event, on) => { const of = event.target.closest?.('[data-part]'); if (!of) return; for (const one of document.querySelectorAll('tr[data-part="' + of.dataset.part + '"],a[data-part="' + of.dataset.part + '"]')) one.classList.toggle('hit', on); };
for (const [name, on] of [['mouseover', true], ['mouseout', false], ['focusin', true], ['focusout', false]]) document.addEventListener(name, event => mark(event, on));
})();
