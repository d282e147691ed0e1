// The chart opens at its latest hours.
import "./danger.js";

const chart = document.getElementById("chart");
chart.scrollLeft = chart.scrollWidth;
