"use strict";
const field = document.getElementById("find");
const count = document.getElementById("count");
const articles = [...document.querySelectorAll("article")];
const texts = articles.map((article) => article.textContent.toLowerCase());

function search() {
  const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
  let shown = 0;
  articles.forEach((article, i) => {
    const fits = words.every((word) => texts[i].includes(word));
    article.hidden = !fits;
    shown += fits ? 1 : 0;
  });
  count.textContent = words.length ? `${shown} of ${articles.length} pages` : "";
}
field.addEventListener("input", search);
window.addEventListener("hashchange", () => { field.value = ""; search(); });
