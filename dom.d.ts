// What a page holds is known to its template, not to the compiler: elements that are looked up may be
// anything. Everything else (names, arguments, imports, our own objects) is checked.
interface ParentNode {
  querySelector(selectors: string): any;
  querySelectorAll(selectors: string): NodeListOf<any>;
}
interface NonElementParentNode {
  getElementById(elementId: string): any;
}
interface Document {
  getElementById(elementId: string): any;
}
interface Element {
  closest(selectors: string): any;
}
interface EventTarget {
  closest?(selectors: string): any;
  checked?: any;
  value?: any;
  dataset?: any;
}
interface Event {
  /** What a page's own events carry. */
  detail?: any;
}
