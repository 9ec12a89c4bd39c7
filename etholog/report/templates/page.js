"use strict";
// Tables are whole without this script; it lets the reader sort them, and opens what is folded before printing.
const told = document.querySelector(".told");

function key(row, column) {
  const cell = row.cells[column];
  return cell.dataset.sort ?? cell.textContent;
}

function compare(one, other, numbers) {
  return numbers ? Number(one) - Number(other) : one.localeCompare(other, undefined, { numeric: true });
}

function sort(table, head) {
  const column = head.cellIndex;
  const down = head.getAttribute("aria-sort") === "ascending";
  const numbers = head.classList.contains("number");
  const body = table.tBodies[0];
  const rows = [...body.rows].sort((a, b) => {
    const [one, other] = [key(a, column), key(b, column)];
    if (one === "" || other === "") return (one === "") - (other === ""); // what is not known comes last
    return down ? compare(other, one, numbers) : compare(one, other, numbers);
  });
  body.append(...rows);
  for (const cell of head.parentElement.cells) cell.removeAttribute("aria-sort");
  head.setAttribute("aria-sort", down ? "descending" : "ascending");
  told.textContent = told.dataset[down ? "down" : "up"].replace("{column}", () => head.textContent);
}

for (const table of document.querySelectorAll("table")) {
  for (const head of table.tHead.rows[0].cells) {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    button.addEventListener("click", () => sort(table, head));
    head.append(button);
  }
}

addEventListener("beforeprint", () => {
  for (const folded of document.querySelectorAll("details.method, details.whole")) folded.open = true;
});
