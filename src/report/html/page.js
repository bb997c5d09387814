"use strict";
// The data that the page carries become files to save.
const carried = document.querySelectorAll("script.carried");
const downloads = document.querySelector(".downloads");
if (downloads && carried.length > 0) {
  const list = document.createElement("ul");
  for (const part of carried) {
    const text = part.type === "text/csv" ? part.textContent.replaceAll("\\u003c", "<") : part.textContent;
    const file = new Blob([text], { type: part.type });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = part.dataset.name;
    link.textContent = `${part.dataset.name} (${Math.max(1, Math.round(file.size / 1024))} kB)`;
    const item = document.createElement("li");
    item.append(link);
    list.append(item);
  }
  downloads.append(list);
  downloads.hidden = false;
}
