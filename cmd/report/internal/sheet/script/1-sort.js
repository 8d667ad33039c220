(function () {
  "use strict";
  document.querySelectorAll("table.sortable").forEach(function (table) {
    var body = table.tBodies[0];
    table.querySelectorAll("thead th[data-sortable]").forEach(function (th) {
      // A span, not a button: browsers do not repeat form controls in the head
      // of a table that breaks over printed pages.
      var button = document.createElement("span");
      button.className = "sort";
      button.tabIndex = 0;
      button.setAttribute("role", "button");
      while (th.firstChild) { button.appendChild(th.firstChild); }
      th.appendChild(button);
      button.addEventListener("keydown", function (e) {
        if (e.key === "Enter" || e.key === " ") { e.preventDefault(); button.click(); }
      });
      button.addEventListener("click", function () {
        var down = th.getAttribute("aria-sort") !== "descending";
        var at = th.cellIndex;
        table.querySelectorAll("th[aria-sort]").forEach(function (o) { o.removeAttribute("aria-sort"); });
        th.setAttribute("aria-sort", down ? "descending" : "ascending");
        var key = function (row) {
          var cell = row.cells[at], raw = cell.getAttribute("data-sort");
          return raw === null ? cell.textContent.trim().toLowerCase() : parseFloat(raw);
        };
        Array.prototype.slice.call(body.rows).map(function (row, i) { return { row: row, key: key(row), i: i }; })
          .sort(function (a, b) {
            var d = a.key < b.key ? -1 : a.key > b.key ? 1 : 0;
            return (down ? -d : d) || a.i - b.i;
          })
          .forEach(function (x) { body.appendChild(x.row); });
      });
    });
  });
}());
