// A timer that a browser does not slow down while its page lies behind another: told again in time it stays still.
let timer = null;
onmessage = ({ data }) => {
  clearTimeout(timer);
  timer = setTimeout(() => postMessage("late"), data);
};
