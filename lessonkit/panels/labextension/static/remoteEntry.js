/* What JupyterLab loads: it fetches page.js, which lies beside this file once installed, and runs it for each
   panel whose mark appears. Where the mark has run it already, this does nothing. */
(() => {
  const beside = document.currentScript.src.replace(/[^/]*$/, '');
  const begin = () => {
    // A link in a sentence must be told from it by more than its colour (WCAG 2.2, 1.4.1).
    const style = document.createElement('style');
    // A drawing in signs that is wider than a phone can be scrolled.
    style.textContent = '.jp-RenderedMarkdown a:not(.jp-InternalAnchorLink) { text-decoration: underline }' +
      ' .jp-RenderedMarkdown pre { overflow-x: auto } .jp-RenderedMarkdown pre code { white-space: pre }';
    document.head.append(style);
    const script = document.createElement('script');
    script.src = beside + 'page.js';
    script.onload = () => {
      document.querySelectorAll('.lk-mark').forEach(mark => window.lessonkitPanel(mark));
      document.addEventListener('animationstart', event => {
        if (event.animationName === 'lk-appears') window.lessonkitPanel(event.target);
      });
    };
    document.head.append(script);
  };
  const plugin = { id: 'lessonkit:page', autoStart: true, activate: begin };
  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB.lessonkit = { init: () => {}, get: async () => () => ({ __esModule: true, default: plugin }) };
})();
