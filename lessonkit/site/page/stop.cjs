// What a script does in Node when something fails: it says the message alone, and ends. The runtime's own traces quote a
// megabyte of code.
module.exports = (error) => {
  console.error(String((error && error.message) || error).trim());
  process.exit(1);
};
process.on("uncaughtException", module.exports);
process.on("unhandledRejection", module.exports);
