/* Runs once for each view of a panel, with the panel's mark; all else follows from what the page does.
   Comments here are of this form only: the file also travels as one line. */
window.lessonkitPanel = mark => {
  const panel = mark.closest('.lk-panel');
  if (!panel || panel.classList.contains('lk-ready')) return;
  panel.classList.add('lk-ready');
  const output = panel.closest('.jp-OutputArea');
  if (output) output.classList.add('lk-awake');
  panel.setAttribute('role', 'group');
  panel.setAttribute('aria-label', mark.title);

  /* The notebook's own keys (x cuts the cell) must not fire while a control has the focus; those with Ctrl,
     Alt or Meta (Ctrl+S saves) must. The page listens on the document, so the window hears a key before it. */
  if (!window.lessonkitListens) {
    window.lessonkitListens = true;
    window.addEventListener('keydown', event => {
      const control = event.target, command = event.ctrlKey || event.altKey || event.metaKey;
      if (!control.closest || !control.closest('.lk-panel')) return;
      control.toggleAttribute('data-lm-suppress-shortcuts', !command);
      /* A box to type in keeps its keys from the page; a command is for the page. */
      if (command) event.stopPropagation = () => {};
    }, true);
  }

  const set = (one, name, value) => {
    if (one.getAttribute(name) !== String(value)) one.setAttribute(name, value);
  };

  /* A control that had the focus may go, or be switched off: then a neighbour has it. */
  const usable = 'button:not(:disabled), select:not(:disabled), input:not(:disabled)';
  const within = group => [...group.querySelectorAll(usable)].filter(one => one.checkVisibility());
  let held = null, groups = [], place = 0;
  panel.addEventListener('focusin', event => {
    held = event.target;
    groups = [];
    for (let at = held.parentElement; at !== panel; at = at.parentElement)
      if (at.matches('.lk-row, .lk-group')) groups.push(at);
    place = groups.length ? within(groups[0]).indexOf(held) : 0;
  });
  panel.addEventListener('focusout', event => { if (event.relatedTarget) held = null; });
  const keep = () => {
    if (!held || panel.contains(held) && !held.disabled) return;
    held = null;
    for (const group of groups) {
      const left = panel.contains(group) ? within(group) : [];
      if (left.length) return left[Math.min(place, left.length - 1)].focus();
      place = Infinity;
    }
  };

  /* What is new is said once, by a region that stays when what it repeats is drawn again. */
  const region = panel.querySelector('.lk-told');
  const heard = {};
  const say = first => {
    const news = [];
    for (const name of ['.lk-lost', '.lk-news', '.lk-reading']) {
      const one = panel.querySelector(name);
      const words = one && one.checkVisibility() ? one.textContent.trim() : '';
      if (!first && words && words !== heard[name]) news.push(words);
      heard[name] = words;
    }
    if (!news.length) return;
    /* The one before stays: it may not have been read yet. */
    region.append(Object.assign(document.createElement('p'), {textContent: news.join(' ')}));
    while (region.childElementCount > 3) region.firstElementChild.remove();
  };

  const tell = first => {
    for (const key of panel.querySelectorAll('.lk-key')) {
      if (key.classList.contains('lk-toggle')) set(key, 'aria-pressed', key.classList.contains('lk-on'));
      set(key, 'aria-label', key.title || key.textContent.trim());
    }
    say(first);
    keep();
  };
  let told = 0;
  const soon = () => { told = told || setTimeout(() => { told = 0; tell(false); }, 30); };
  tell(true);
  new MutationObserver(soon).observe(panel, {subtree: true, childList: true, attributes: true,
    attributeFilter: ['class', 'title', 'disabled']});

  /* A click on a conductor in a picture goes on to the key that breaks it. */
  panel.addEventListener('click', event => {
    const drawn = event.target.closest('[data-key]');
    const name = drawn && 'lk-break-' + drawn.dataset.key.replace('.', '-');
    const key = name && panel.getElementsByClassName(name)[0];
    if (key) key.click();
  });
};
